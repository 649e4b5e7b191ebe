using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Trade;
using static RehabRecords.Tests.Documents.LifeCycle;

namespace RehabRecords.Tests.Documents;

/// <summary>
/// Whatever two clinicians and the person at home do in whatever order, no edit is lost and no byte of what was signed
/// changes. Each clinician works from what they saw last, which is often old.
/// </summary>
public sealed class NothingIsLostTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const int Steps = 30;

    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(3)]
    [InlineData(4)]
    [InlineData(5)]
    public async Task Random_edits_of_two_clinicians_and_new_sessions_never_lose_an_edit_or_alter_what_is_signed(int seed)
    {
        var random = new Random(seed);
        var (note, of) = await app.DraftAsync();
        var model = new Model(note);
        string[] clinicians = [Physio, Second];
        var seen = new JsonNode[2];
        seen[0] = seen[1] = await app.NoteAsync(note);
        var (day, refused, done) = (2, 0, 0);
        for (var step = 0; step < Steps; step++)
        {
            var who = random.Next(2);
            if (random.Next(3) == 0)
                seen[who] = await app.NoteAsync(model.Note);
            switch (random.Next(10))
            {
                case 0 or 1 when day < 14:
                    await app.SessionAsync(of, day++, $"Words of day {day}.");
                    break;
                case 9 when step > Steps / 2:
                    await SignAndAmendAsync(model, clinicians[who]);
                    seen[0] = seen[1] = await app.NoteAsync(model.Note);
                    break;
                default:
                    var (path, more, then) = Change(random, model.Note, seen[who], $"{seed}-{step}");
                    var current = await app.VersionAsync(model.Note);
                    var (status, answer, _) = await app.StepAsync(path, By(clinicians[who], more), seen[who].Version());
                    if (seen[who].Version() != current)
                    {
                        // Somebody, or a session, was first: refused, and told what the note is now.
                        Assert.Equal(HttpStatusCode.PreconditionFailed, status);
                        refused++;
                        seen[who] = await app.NoteAsync(model.Note);
                        break;
                    }

                    // An amendment speaks of the time of what it amends and is not drafted anew.
                    var amended = status == HttpStatusCode.Conflict && path.EndsWith("/refresh", StringComparison.Ordinal) && model.Frozen.Count > 0;
                    Assert.True(amended || status is HttpStatusCode.OK or HttpStatusCode.UnprocessableEntity, $"{path}: {answer}");
                    if (status == HttpStatusCode.OK)
                    {
                        then(model);
                        seen[who] = answer;
                        done++;
                    }
                    break;
            }

            await CheckAsync(model);
        }

        Assert.True(refused > 0 && done > 3, $"{refused} refused, {done} done: the run tried too little.");
    }

    private sealed record Model(string First)
    {
        public string Note { get; set; } = First;

        /// <summary>Words that must be found, by what their place was called.</summary>
        public Dictionary<string, string> Words { get; } = [];

        /// <summary>Statements that must stay removed.</summary>
        public HashSet<string> Removed { get; } = [];

        /// <summary>Bytes that must never change, by address.</summary>
        public Dictionary<string, byte[]> Frozen { get; } = [];
    }

    private static (string Path, string More, Action<Model> Then) Change(Random random, string note, JsonNode seen, string words)
    {
        var statements = seen["statements"]!.AsArray();
        var statement = statements[random.Next(statements.Count)]!;
        var id = (string)statement["id"]!;
        var own = (string)statement["state"]! == "own";
        return random.Next(6) switch
        {
            0 or 1 => ($"/api/notes/{note}/statements/{id}/text", $", \"text\": \"Edited {words}.\"", m =>
            {
                // Whatever was called otherwise before stands here now.
                foreach (var former in m.Words.Where(w => w.Value == (string)statement["text"]!).Select(w => w.Key).ToList())
                    m.Words.Remove(former);
                m.Words[id] = $"Edited {words}.";
                m.Removed.Remove(id);
            }
            ),
            2 => ($"/api/notes/{note}/statements", $", \"section\": \"plan\", \"text\": \"Own {words}.\"", m => m.Words[$"own {words}"] = $"Own {words}."),
            3 => ($"/api/notes/{note}/statements/{id}/removal", ", \"reason\": \"Not needed in this note.\"", m =>
            {
                // A statement of one's own goes; it was taken out on purpose.
                foreach (var gone in m.Words.Where(w => w.Key == id || (own && w.Value == (string)statement["text"]!)).Select(w => w.Key).ToList())
                    m.Words.Remove(gone);
                if (!own)
                    m.Removed.Add(id);
            }
            ),
            4 => ($"/api/notes/{note}/statements/{id}/restoration", "", m =>
            {
                m.Words.Remove(id);
                m.Removed.Remove(id);
            }
            ),
            _ => ($"/api/notes/{note}/refresh", "", _ => { }),
        };
    }

    private async Task SignAndAmendAsync(Model model, string who)
    {
        var signed = await app.SignedAsync(model.Note);
        foreach (var address in new[] { (string)signed["document"]!, $"Composition/{model.Note}" })
            model.Frozen[address] = (await app.BytesAsync($"/fhir/{address}")).Bytes;
        var amendment = await app.DoneAsync($"/api/notes/{model.Note}/amendments", By(who, """, "reason": "To go on with the test." """), signed["note"]!.Version());
        model.Note = ((string)amendment["address"]!).Split('/')[^1];
    }

    private async Task CheckAsync(Model model)
    {
        var statements = (await app.NoteAsync(model.Note))["statements"]!.AsArray();
        var theirs = statements.Where(s => (string)s!["state"]! is "edited" or "own").Select(s => (string)s!["text"]!).ToHashSet();
        Assert.All(model.Words.Values, w => Assert.Contains(w, theirs));
        Assert.All(model.Removed, id => Assert.Contains(statements, s => (string)s!["id"]! == id && (string)s["state"]! == "removed"));
        foreach (var (address, bytes) in model.Frozen)
            Assert.Equal(bytes, (await app.BytesAsync($"/fhir/{address}")).Bytes);
    }
}
