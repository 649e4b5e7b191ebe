using System.Text.Json;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Documents;
using RehabRecords.Tests.Exchange;

namespace RehabRecords.Tests.Trade;

/// <summary>The worked examples are real: each request is posted, and its answer looks like the one that is shown.</summary>
public partial class ApiExamplesTests(TradeApp app) : IClassFixture<TradeApp>
{
    private static readonly string Folder = Path.Combine(Repository.Root, "examples", "api");

    /// <summary>With this set, the answers are written anew instead of compared.</summary>
    private static readonly bool Write = Environment.GetEnvironmentVariable("REHAB_WRITE_EXAMPLES") == "1";

    [Fact]
    public async System.Threading.Tasks.Task Each_request_is_taken_and_each_answer_looks_as_it_is_shown()
    {
        var ids = new Dictionary<string, string>();
        async Task<JsonNode> PostAsync(string name, string path, int? seen = null)
        {
            var body = File.ReadAllText(Path.Combine(Folder, $"{name}.request.json"));
            foreach (var (word, id) in ids)
                body = body.Replace($"{{{word}}}", id, StringComparison.Ordinal);
            var answer = seen is null ? await app.PostAsync(path, JsonNode.Parse(body)!) : await app.DoneAsync(path, body, seen.Value);
            var file = Path.Combine(Folder, $"{name}.answer.json");
            if (Write)
                File.WriteAllText(file, Plain(answer) + "\n");
            Assert.Equal(Shape(JsonNode.Parse(File.ReadAllText(file))!), Shape(answer));
            return answer;
        }

        ids["person"] = (string)(await PostAsync("person", "/api/people"))["id"]!;
        await PostAsync("exercise", "/api/exercises");
        await PostAsync("template", "/api/templates");
        ids["programme"] = (string)(await PostAsync("programme", "/api/programmes"))["id"]!;
        var draft = TradeApp.With(File.ReadAllText(Path.Combine(Folder, "programme.request.json")), ("status", "\"draft\""), ("person", $"\"{ids["person"]}\""));
        await PostAsync("activation", $"/api/programmes/{(string)(await app.PostAsync("/api/programmes", draft))["id"]!}/activation");
        await PostAsync("draft-withdrawal", $"/api/programmes/{(string)(await app.PostAsync("/api/programmes", draft))["id"]!}/withdrawal");
        await PostAsync("measure", "/api/measures");
        var session = await PostAsync("session", "/api/sessions");
        Assert.Equal("urgent-review", (string?)session["urgent"]![0]!["urgency"]);
        var flag = (string)session["flags"]![0]!["id"]!;
        await PostAsync("clearance", $"/api/flags/{flag}/clearance");
        await PostAsync("decision", $"/api/programmes/{ids["programme"]}/decisions");
        await PostAsync("revision", $"/api/programmes/{ids["programme"]}/revisions");
        await PostAsync("pause", $"/api/programmes/{ids["programme"]}/pauses");
        app.Time.Now = app.Time.Now.AddDays(10);
        await PostAsync("pause-end", $"/api/programmes/{ids["programme"]}/pauses/2026-06-20/end");
        await app.PostAsync($"/api/programmes/{ids["programme"]}/pauses", JsonNode.Parse("""{ "from": "2026-07-06", "to": "2026-07-08", "reason": "A journey.", "by": { "name": "Rowan Invented", "role": "physiotherapist" } }""")!);
        await PostAsync("pause-withdrawal", $"/api/programmes/{ids["programme"]}/pauses/2026-07-06/withdrawal");
        var link = (string)(await PostAsync("home-link", $"/api/programmes/{ids["programme"]}/home-links"))["link"]!["id"]!;
        await PostAsync("home-link-revocation", $"/api/home-links/{link}/revocation");
        var precaution = (string)(await PostAsync("precaution", $"/api/people/{ids["person"]}/precautions"))["precaution"]!["id"]!;
        await PostAsync("precaution-withdrawal", $"/api/people/{ids["person"]}/precautions/{precaution}/withdrawal");
        ids["duplicate"] = await app.PersonAsync();
        await PostAsync("merge", $"/api/people/{await app.PersonAsync()}/merges");
        var hold = (string)(await PostAsync("legal-hold", $"/api/people/{ids["person"]}/legal-holds"))["id"]!;
        await PostAsync("legal-hold-lifting", $"/api/people/{ids["person"]}/legal-holds/{hold}/lifting");
        var note = await PostAsync("note", "/api/notes");
        ids["note"] = ((string)note["composition"]!).Split('/')[1];

        // The life of the note, each step from the version the one before answered.
        var address = (string)note["address"]!;
        note = await PostAsync("note-acceptance", $"{address}/acceptance", note.Version());
        note = await PostAsync("note-statement", $"{address}/statements", note.Version());
        note = await PostAsync("note-text", $"{address}/statements/adherence/text", note.Version());
        note = await PostAsync("note-removal", $"{address}/statements/review-date/removal", note.Version());
        note = await PostAsync("note-restoration", $"{address}/statements/review-date/restoration", note.Version());
        note = await PostAsync("note-refresh", $"{address}/refresh", note.Version());
        note = (await PostAsync("note-signature", $"{address}/signature", note.Version()))["note"]!;
        note = (await PostAsync("note-countersignature", $"{address}/countersignature", note.Version()))["note"]!;
        note = await PostAsync("note-amendment", $"{address}/amendments", note.Version());
        await PostAsync("note-entered-in-error", $"{(string)note["address"]!}/entered-in-error", note.Version());
        await PostAsync("briefing", $"/api/programmes/{ids["programme"]}/briefing");
        await PostAsync("acknowledgement", $"/api/programmes/{ids["programme"]}/briefing/acknowledgement");
        var consent = await PostAsync("consent", $"/api/people/{ids["person"]}/consents");
        await PostAsync("resolution", $"/api/exchange/conflicts/{await ConflictAsync(ids["programme"], (string)consent["recipient"]!)}/resolution");
        await PostAsync("withdrawal", $"/api/people/{ids["person"]}/consents/{consent["id"]}/withdrawal");
        using (var asked = await app.Http.PostAsync("/fhir/Task", TestApp.Json($$"""
            { "resourceType": "Task", "status": "requested", "intent": "order", "description": "Send the splint to be mended.", "for": { "reference": "Patient/{{ids["person"]}}" }, "authoredOn": "2026-06-20",
              "owner": { "display": "Vale Community Team" }, "restriction": { "period": { "end": "2026-07-01" } } }
            """, "application/fhir+json")))
            await PostAsync("task-outcome", $"/api/tasks/{JsonNode.Parse(await asked.Content.ReadAsStringAsync())!["id"]}/outcome");
        await app.SignedAsync(((string)(await PostAsync("letter", "/api/letters"))["composition"]!).Split('/')[1]);
        // The next draft, which the discharge leaves open with a reason.
        var next = await app.PostAsync("/api/notes", new JsonObject { ["programme"] = ids["programme"] });
        ids["note"] = ((string)next["composition"]!).Split('/')[1];
        var discharge = await PostAsync("discharge", "/api/discharges");
        await app.SignedAsync((string)discharge["id"]!);
        await PostAsync("discharge-completion", $"/api/discharges/{(string)discharge["id"]!}/completion");
        // Last, since nothing of it is left.
        ids["erased"] = await app.PersonAsync();
        var shown = await PostAsync("erasure", $"/api/people/{ids["erased"]}/erasure");
        ids["digest"] = (string)shown["digest"]!;
        await PostAsync("erasure-confirmation", $"/api/people/{ids["erased"]}/erasure/{shown["request"]}/confirmation");
    }

    /// <summary>The programme goes out, is changed there and here, and comes back.</summary>
    private async Task<string> ConflictAsync(string programme, string recipient)
    {
        var sent = await app.Http.GetByteArrayAsync($"/api/programmes/{programme}/exchange?recipient={recipient}");
        var theirs = Elsewhere.Of((Bundle)ResourceReader.Read(sent, FhirFormat.Json), TestApp.FhirBase, "http://elsewhere.test/fhir", resource =>
        {
            if (resource is CarePlan plan)
                plan.Title = "Home programme, as the community team calls it";
        });
        await app.PostAsync($"/api/programmes/{programme}/pauses", JsonNode.Parse("""{ "from": "2026-07-01", "to": "2026-07-02", "reason": "Visitors.", "by": { "name": "Rowan Pretendley", "role": "physiotherapist" } }""")!);
        return ((string)(await Teams.TakeInAsync(app, theirs))["task"]!)["Task/".Length..];
    }

    [Fact]
    public async System.Threading.Tasks.Task The_document_shows_every_route_with_words_examples_and_ranges()
    {
        var document = await app.GetAsync("/openapi/v1.json");
        var paths = document["paths"]!.AsObject();
        foreach (var (path, item) in paths.Where(p => p.Key.StartsWith("/api/", StringComparison.Ordinal)))
            foreach (var (method, operation) in item!.AsObject().Where(o => o.Value is JsonObject))
            {
                Assert.False(string.IsNullOrEmpty((string?)operation!["summary"]), $"{method} {path} has no summary");
                Assert.False(string.IsNullOrEmpty((string?)operation["description"]), $"{method} {path} has no description");
            }

        foreach (var path in new[] { "/api/people", "/api/exercises", "/api/templates", "/api/programmes", "/api/sessions", "/api/measures", "/api/flags/{id}/clearance",
            "/api/discharges", "/api/discharges/{id}/completion", "/api/programmes/{id}/decisions", "/api/programmes/{id}/revisions", "/api/programmes/{id}/pauses", "/api/programmes/{id}/pauses/{from}/end" })
        {
            var post = paths[path]!["post"]!;
            Assert.NotNull(post["requestBody"]!["content"]!["application/json"]!["example"]);
            var success = post["responses"]!.AsObject().First(r => r.Key.StartsWith('2')).Value!;
            Assert.NotNull(success["content"]!["application/json"]!["example"]);
            Assert.Contains(post["parameters"]!.AsArray(), p => (string?)p!["name"] == "Idempotency-Key");
            Assert.DoesNotContain(post["parameters"]!.AsArray(), p => (string?)p!["name"] == "posted");
        }

        var result = document["components"]!["schemas"]!["ResultRequest"]!["properties"]!;
        Assert.Equal(10000, (int?)result["repetitions"]!["maximum"]);
        Assert.Equal(0, (int?)result["painDuring"]!["minimum"]);
        Assert.Contains("0 to 10", (string?)result["painDuring"]!["description"]);
    }

    /// <summary>Ids of the run become plain numbers, so that the file does not change with every writing.</summary>
    private static string Plain(JsonNode answer)
    {
        var seen = new Dictionary<string, string>();
        return Uuid().Replace(answer.ToJsonString(new JsonSerializerOptions { WriteIndented = true, Encoder = System.Text.Encodings.Web.JavaScriptEncoder.UnsafeRelaxedJsonEscaping }),
            m => seen.TryGetValue(m.Value, out var plain) ? plain : seen[m.Value] = $"00000000-0000-7000-8000-{seen.Count + 1:000000000000}");
    }

    /// <summary>Every member with the kind of its value; null stands for any kind, and a list for its first entry.</summary>
    private static string Shape(JsonNode node)
    {
        var members = new SortedSet<string>(StringComparer.Ordinal);
        void Walk(JsonNode? at, string path)
        {
            switch (at)
            {
                case JsonObject o:
                    foreach (var (name, value) in o)
                        Walk(value, $"{path}.{name}");
                    break;
                case JsonArray { Count: > 0 } a:
                    Walk(a[0], $"{path}[]");
                    break;
                default:
                    members.Add(path);
                    break;
            }
        }

        Walk(node, "");
        return string.Join('\n', members);
    }

    [GeneratedRegex("[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}")]
    private static partial Regex Uuid();
}
