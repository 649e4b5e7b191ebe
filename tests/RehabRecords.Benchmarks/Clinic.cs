using System.Net.Http.Json;
using System.Text.Json.Nodes;

namespace RehabRecords.Benchmarks;

/// <summary>A made-up caseload to post sessions for: each person has one programme of six exercises.</summary>
internal sealed class Clinic(HttpClient http, string demoFolder)
{
    private static readonly string[] Exercises = ["table-slides", "clothes-pegs", "card-turning", "bean-pouring", "buttons", "jar-lids"];

    private readonly List<(string Person, string Programme)> _caseload = [];
    private readonly System.Collections.Concurrent.ConcurrentDictionary<string, string> _notes = new(StringComparer.Ordinal);
    private int _next;

    /// <summary>Type/id of what the last session wrote.</summary>
    public IReadOnlyList<string> LastStored { get; private set; } = [];

    public IReadOnlyList<(string Person, string Programme)> Caseload => _caseload;

    /// <summary>Address of the latest note of a person of whom a session was posted.</summary>
    public string NoteOf(string person) => _notes[person];

    /// <summary>The same people at another address of the same record.</summary>
    public Clinic At(HttpClient other)
    {
        var clinic = new Clinic(other, demoFolder) { _next = _next };
        clinic._caseload.AddRange(_caseload);
        return clinic;
    }

    /// <summary>More people, each with a programme.</summary>
    public async Task OpenAsync(int people)
    {
        var before = _caseload.Count;
        if (before == 0)
            foreach (var file in Directory.EnumerateFiles(Path.Combine(demoFolder, "2-exercises"), "*.json").Order(StringComparer.Ordinal))
                await PostAsync("/api/exercises", JsonNode.Parse(await File.ReadAllTextAsync(file))!);
        for (var i = before; i < before + people; i++)
        {
            var person = await PostAsync("/api/people", new JsonObject
            {
                ["identifier"] = new JsonObject { ["system"] = "https://bench.example/id/person", ["value"] = $"B-{i}" },
                ["familyName"] = $"Benchley{i}",
                ["givenNames"] = new JsonArray("Testa"),
                ["birthDate"] = "1955-05-05",
                ["sex"] = "female",
                ["dominantHand"] = "right",
                ["affectedSide"] = "right",
            });
            var programme = await PostAsync("/api/programmes", new JsonObject
            {
                ["person"] = person["id"]!.DeepClone(),
                ["levelReason"] = "Benchmark.",
                ["title"] = "Table-top practice",
                ["start"] = "2026-01-05",
                ["end"] = "2026-11-20",
                ["painLimit"] = 5,
                ["exercises"] = new JsonArray([.. Exercises.Select(e => new JsonObject
                {
                    ["exercise"] = e + "|1",
                    ["side"] = "right",
                    ["schedule"] = new JsonObject { ["timesPerDay"] = 1 },
                })]),
            });
            _caseload.Add((person["id"]!.GetValue<string>(), programme["id"]!.GetValue<string>()));
        }
    }

    /// <summary>Posts one session of six exercises for the next person in turn, or for one of them; each person's sessions are on successive days, then at later hours.</summary>
    public async Task PostSessionAsync(int? which = null)
    {
        var turn = Interlocked.Increment(ref _next) - 1;
        var (person, programme) = _caseload[which ?? turn % _caseload.Count];
        var nth = which is null ? turn / _caseload.Count : turn;
        var day = new DateOnly(2026, 1, 5).AddDays(nth % 300);
        var answer = await PostAsync("/api/sessions", new JsonObject
        {
            ["person"] = person,
            ["programme"] = programme,
            ["doneAt"] = $"{day:yyyy-MM-dd}T{8 + (nth / 300 % 14):00}:00:00Z",
            ["reportedBy"] = new JsonObject { ["role"] = "patient" },
            ["exercises"] = new JsonArray([.. Exercises.Select(e => new JsonObject
            {
                ["exercise"] = e,
                ["sets"] = 2,
                ["repetitions"] = 16 + (turn % 5),
                ["minutes"] = 5,
                ["side"] = "right",
                ["painBefore"] = 1,
                ["painDuring"] = 2,
                ["painAfter"] = 1,
                ["exertion"] = new JsonObject { ["scale"] = "0-10", ["value"] = 4 },
                ["quality"] = "met",
            })]),
        });
        LastStored = [.. answer["resources"]!.AsArray().Select(a => (string)a!)];
        _notes[person] = (string)answer["note"]!["address"]!;
    }

    private async Task<JsonNode> PostAsync(string route, JsonNode body)
    {
        using var response = await http.PostAsJsonAsync(route, body);
        var text = await response.Content.ReadAsStringAsync();
        return response.IsSuccessStatusCode
            ? JsonNode.Parse(text)!
            : throw new InvalidOperationException($"POST {route}: {(int)response.StatusCode} {text}");
    }
}
