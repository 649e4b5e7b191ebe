using System.Collections.Concurrent;
using System.Diagnostics;
using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;

namespace RehabRecords.Drills;

/// <summary>
/// Clients that send transactions of many results, each transaction under a mark of its own, and remember which were
/// acknowledged. Each entry is a conditional create, so that a client which heard no answer may send it again.
/// </summary>
internal sealed class Burst(string name, int entries = 20)
{
    private const string Marks = "https://drill.example/marks";
    private int _next;

    /// <summary>By mark: true when the answer said it was stored, false when there was none.</summary>
    public ConcurrentDictionary<string, bool> Sent { get; } = new(StringComparer.Ordinal);

    public ConcurrentDictionary<int, int> Refusals { get; } = new();

    public IEnumerable<string> Acknowledged => Sent.Where(s => s.Value).Select(s => s.Key);

    public IEnumerable<string> Unanswered => Sent.Where(s => !s.Value).Select(s => s.Key);

    public async Task RunAsync(Instance instance, int clients, CancellationToken until)
    {
        await Task.WhenAll(Enumerable.Range(0, clients).Select(async _ =>
        {
            while (!until.IsCancellationRequested && instance.Runs)
            {
                var mark = $"{name}-{Interlocked.Increment(ref _next)}";
                Sent[mark] = false;
                var (answered, unsure) = await AskAsync(instance, mark);
                if (answered is not { } status)
                    return;
                if (status is >= 200 and < 300)
                {
                    Sent[mark] = true;
                    continue;
                }

                Refusals.AddOrUpdate(status, 1, (_, n) => n + 1);
                if (unsure)
                    continue;
                // An answer that it was not stored.
                Sent.TryRemove(mark, out var _);
                Refused[mark] = status;
            }
        }));
    }

    /// <summary>Marks of transactions that were refused, with the status.</summary>
    public ConcurrentDictionary<string, int> Refused { get; } = new(StringComparer.Ordinal);

    /// <summary>How long the longest took to be answered, or to hear nothing.</summary>
    public TimeSpan Longest { get; private set; }

    /// <returns>The status, or null when no answer came.</returns>
    public async Task<int?> SendAsync(Instance instance, string mark) => (await AskAsync(instance, mark)).Status;

    /// <returns>Besides, whether the answer says that it does not know if anything was stored; then there is no promise to hold it to.</returns>
    private async Task<(int? Status, bool Unsure)> AskAsync(Instance instance, string mark)
    {
        var began = Stopwatch.GetTimestamp();
        try
        {
            using var body = new StringContent(Transaction(mark), Encoding.UTF8, "application/fhir+json");
            using var answer = await instance.Http.PostAsync("/fhir", body);
            var said = answer.IsSuccessStatusCode ? "" : await answer.Content.ReadAsStringAsync();
            return ((int)answer.StatusCode, said.Contains("is not certain", StringComparison.Ordinal) || said.Contains("is not known yet", StringComparison.Ordinal));
        }
        catch (Exception e) when (e is HttpRequestException or TaskCanceledException or IOException)
        {
            return (null, false);
        }
        finally
        {
            var took = Stopwatch.GetElapsedTime(began);
            Longest = took > Longest ? took : Longest;
        }
    }

    /// <summary>What of the transactions is there: all must be there whole when acknowledged, and whole or not at all otherwise.</summary>
    public async Task<Tally> CountAsync(Instance instance)
    {
        var tally = new Tally();
        await Parallel.ForEachAsync(Sent.Keys.Concat(Refused.Keys).ToList(), new ParallelOptions { MaxDegreeOfParallelism = 8 }, async (mark, ct) =>
        {
            var found = await FoundAsync(instance, mark, ct);
            lock (tally)
                tally.Note(found, entries, Sent.TryGetValue(mark, out var acknowledged) && acknowledged, Refused.ContainsKey(mark));
        });
        return tally;
    }

    /// <summary>Sends again what got no answer, and counts what is then not there exactly once.</summary>
    public async Task<int> RepeatAsync(Instance instance)
    {
        var wrong = 0;
        foreach (var mark in Unanswered.ToList())
        {
            if (await SendAsync(instance, mark) is < 200 or >= 300 or null || await FoundAsync(instance, mark, default) != entries)
                wrong++;
            else
                Sent[mark] = true;
        }

        return wrong;
    }

    private static async Task<int> FoundAsync(Instance instance, string mark, CancellationToken ct)
    {
        var answer = JsonNode.Parse(await instance.Http.GetStringAsync($"/fhir/Observation?code={Marks}|{mark}&_summary=count", ct))!;
        return (int)answer["total"]!;
    }

    private string Transaction(string mark) => new JsonObject
    {
        ["resourceType"] = "Bundle",
        ["type"] = "transaction",
        ["entry"] = new JsonArray([.. Enumerable.Range(0, entries).Select(n => (JsonNode)new JsonObject
        {
            ["resource"] = new JsonObject
            {
                ["resourceType"] = "Observation",
                ["status"] = "final",
                ["identifier"] = new JsonArray(new JsonObject { ["system"] = Marks, ["value"] = $"{mark}-{n.ToString(CultureInfo.InvariantCulture)}" }),
                ["code"] = new JsonObject { ["coding"] = new JsonArray(new JsonObject { ["system"] = Marks, ["code"] = mark }) },
                ["effectiveDateTime"] = "2026-09-01T10:00:00Z",
                ["valueInteger"] = n,
            },
            ["request"] = new JsonObject { ["method"] = "POST", ["url"] = "Observation", ["ifNoneExist"] = $"identifier={Marks}|{mark}-{n.ToString(CultureInfo.InvariantCulture)}" },
        })]),
    }.ToJsonString();
}

/// <summary>What became of what was sent.</summary>
internal sealed class Tally
{
    public int Acknowledged { get; private set; }

    /// <summary>Acknowledged, and not there whole.</summary>
    public int Lost { get; private set; }

    /// <summary>There in part, or more than once.</summary>
    public int Broken { get; private set; }

    /// <summary>Refused, and there.</summary>
    public int Untold { get; private set; }

    public bool Sound => (Lost, Broken, Untold) == (0, 0, 0);

    public void Note(int found, int entries, bool acknowledged, bool refused)
    {
        Acknowledged += acknowledged ? 1 : 0;
        Lost += acknowledged && found != entries ? 1 : 0;
        Broken += found != 0 && found != entries ? 1 : 0;
        Untold += refused && found != 0 ? 1 : 0;
    }

    public void Add(Tally other)
    {
        Acknowledged += other.Acknowledged;
        Lost += other.Lost;
        Broken += other.Broken;
        Untold += other.Untold;
    }
}
