using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Documents;

/// <summary>Steps of the life cycle of a note over HTTP, as a page or a notes system takes them.</summary>
internal static class LifeCycle
{
    public const string Physio = """{ "name": "Rowan Invented", "role": "physiotherapist", "registrationBody": "Register of Invented Professions", "registration": "INV-1001" }""";
    public const string Second = """{ "name": "Merle Fictive", "role": "physiotherapist", "registrationBody": "Register of Invented Professions", "registration": "INV-1002" }""";
    public const string Student = """{ "name": "Sorrel Pretend", "role": "student physiotherapist" }""";

    /// <summary>A person with a programme and one session, so that there is an open draft.</summary>
    public static async Task<(string Note, (string Person, string Programme) Of)> DraftAsync(this TradeApp app)
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of));
        return (((string)answer["note"]!["address"]!).Split('/')[^1], of);
    }

    public static Task<JsonNode> SessionAsync(this TradeApp app, (string Person, string Programme) of, int day, string remark = "Went on.") =>
        app.PostAsync("/api/sessions", TradeApp.Session(of, ("doneAt", $"\"2026-06-{day:00}T10:00:00+01:00\""), ("remark", $"\"{remark}\"")));

    /// <summary>Posts with If-Match; null sends none.</summary>
    public static async Task<(HttpStatusCode Status, JsonNode Body, string? ETag)> StepAsync(this TestApp app, string path, string body, int? version)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, path) { Content = TestApp.Json(body) };
        if (version is not null)
            request.Headers.TryAddWithoutValidation("If-Match", $"W/\"{version}\"");
        using var response = await app.Http.SendAsync(request);
        var text = await response.Content.ReadAsStringAsync();
        return (response.StatusCode, JsonNode.Parse(text.Length == 0 ? "null" : text)!, response.Headers.ETag?.ToString());
    }

    /// <summary>A step that must succeed.</summary>
    public static async Task<JsonNode> DoneAsync(this TestApp app, string path, string body, int version)
    {
        var (status, answer, _) = await app.StepAsync(path, body, version);
        Assert.True((int)status is 200 or 201, $"POST {path} answered {(int)status}: {answer}");
        return answer;
    }

    public static Task<JsonNode> NoteAsync(this TestApp app, string note) => app.GetAsync($"/api/notes/{note}");

    public static int Version(this JsonNode note) => int.Parse(((string)note["composition"]!).Split('/')[^1]);

    public static async Task<int> VersionAsync(this TestApp app, string note) => (await app.NoteAsync(note)).Version();

    public static JsonNode Statement(this JsonNode note, string rule) => note["statements"]!.AsArray().First(s => (string)s!["rule"]! == rule)!;

    public static string By(string who, string more = "") => $"{{ \"by\": {who}{more} }}";

    /// <summary>Signs the note as it stands, accepting that it may be stale.</summary>
    public static async Task<JsonNode> SignedAsync(this TestApp app, string note) =>
        await app.DoneAsync($"/api/notes/{note}/signature", By(Physio, """, "althoughStale": "Signed in a test as it stands.", "althoughUnresolved": "Signed in a test as it stands." """), await app.VersionAsync(note));

    public static async Task<(byte[] Bytes, string? ETag)> BytesAsync(this TestApp app, string path)
    {
        using var response = await app.Http.GetAsync(path);
        Assert.True(response.IsSuccessStatusCode, path);
        return (await response.Content.ReadAsByteArrayAsync(), response.Headers.ETag?.ToString());
    }
}
