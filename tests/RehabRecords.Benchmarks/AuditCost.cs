using System.Diagnostics;
using System.Text;
using System.Text.Json.Nodes;

namespace RehabRecords.Benchmarks;

/// <summary>
/// What it costs a read that it is told of: the same requests to services that differ in that alone, in turn, so that whatever else the machine does
/// meanwhile falls on all of them. In the middle the folder lies in memory, where forcing a file to the disk costs nothing: what is left is the work.
/// </summary>
internal static class AuditCost
{
    private const int People = 60;
    private const int ResultsEach = 10;
    private const int Rounds = 6;

    private static readonly (string Name, Func<string, string> Address)[] Reads =
    [
        ("read of a person", person => $"/fhir/Patient/{person}"),
        ("ten results of a person", person => $"/fhir/Observation?subject=Patient/{person}"),
    ];

    public static async Task RunAsync(string[] args, string assembly)
    {
        var seconds = args.Length > 0 ? double.Parse(args[0], System.Globalization.CultureInfo.InvariantCulture) : 2;
        await using var off = RunningService.Start(assembly, "--RehabRecords:Audit:On", "false");
        await using var inMemory = RunningService.On(Directory.CreateDirectory($"/dev/shm/rehabrecords-bench-{Environment.ProcessId}").FullName, assembly, "--RehabRecords:Audit:On", "true");
        await using var on = RunningService.Start(assembly, "--RehabRecords:Audit:On", "true");
        (string Name, RunningService Service)[] services = [("off", off), ("on, folder in memory", inMemory), ("on", on)];
        var people = new List<string[]>();
        foreach (var (_, service) in services)
            people.Add(await FillAsync(service));
        Console.WriteLine($"{Environment.ProcessorCount} cores, {Rounds} rounds of {seconds} s each, in turn; the first is warm-up");
        Console.WriteLine("| request | connections | audit | requests/s | p50 ms | p99 ms | p50 against off |");
        Console.WriteLine("|---|---|---|---|---|---|---|");
        foreach (var (name, address) in Reads)
            foreach (var connections in new[] { 1, 16 })
            {
                var times = services.Select(_ => new List<double>()).ToArray();
                for (var round = 0; round < Rounds; round++)
                    for (var which = 0; which < services.Length; which++)
                    {
                        var took = await MeasureAsync(services[which].Service.Http, i => address(people[which][i % People]), connections, seconds);
                        if (round > 0)
                            times[which].AddRange(took);
                        await SettledAsync(services[which].Service);
                    }

                foreach (var took in times)
                    took.Sort();
                for (var which = 0; which < services.Length; which++)
                    Console.WriteLine($"| {name} | {connections} | {services[which].Name} | {times[which].Count / (seconds * (Rounds - 1)):0} | {At(times[which], .5):0.00} | {At(times[which], .99):0.0} | {At(times[which], .5) / At(times[0], .5):0.00} |");
            }

        await PrintWritingAsync(on);
    }

    /// <summary>How fast the trail takes in what the journal holds, one event for each person of an answer.</summary>
    private static async Task PrintWritingAsync(RunningService service)
    {
        var before = await EventsAsync(service);
        for (var i = 0; i < 100; i++)
            (await service.Http.GetAsync("/fhir/Patient?_count=50")).Dispose();
        var began = Stopwatch.GetTimestamp();
        var after = await SettledAsync(service);
        Console.WriteLine($"100 answers about 50 people each: {after - before} events, all in the trail {Stopwatch.GetElapsedTime(began).TotalSeconds:0.0} s after the last answer");
    }

    /// <summary>The ids that the service gave to the people it was filled with.</summary>
    private static async Task<string[]> FillAsync(RunningService service)
    {
        await service.UntilReadyAsync();
        var ids = new string[People];
        for (var person = 0; person < People; person++)
        {
            var entries = new JsonArray(Entry("Patient", """{ "resourceType": "Patient", "name": [{ "family": "Benchley", "given": ["Ada"] }], "birthDate": "1950-04-03" }""", "urn:uuid:7b7ac1de-4a8c-4f0e-9a3d-0c7a55d8e001"));
            for (var result = 0; result < ResultsEach; result++)
                entries.Add(Entry("Observation", """
                    { "resourceType": "Observation", "status": "final", "code": { "text": "Grip" }, "subject": { "reference": "urn:uuid:7b7ac1de-4a8c-4f0e-9a3d-0c7a55d8e001" }, "effectiveDateTime": "2026-03-02T10:00:00+00:00",
                      "valueQuantity": { "value": 12.5, "unit": "kg", "system": "http://unitsofmeasure.org", "code": "kg" } }
                    """, $"urn:uuid:{Guid.NewGuid()}"));
            var bundle = new JsonObject { ["resourceType"] = "Bundle", ["type"] = "transaction", ["entry"] = entries };
            using var response = await service.Http.PostAsync("/fhir", new StringContent(bundle.ToJsonString(), Encoding.UTF8, "application/fhir+json"));
            var answer = await response.Content.ReadAsStringAsync();
            if (!response.IsSuccessStatusCode)
                throw new InvalidOperationException(answer);
            ids[person] = ((string)JsonNode.Parse(answer)!["entry"]![0]!["response"]!["location"]!).Split('/')[^3];
        }

        return ids;
    }

    private static JsonObject Entry(string type, string resource, string fullUrl) =>
        new() { ["fullUrl"] = fullUrl, ["resource"] = JsonNode.Parse(resource), ["request"] = new JsonObject { ["method"] = "POST", ["url"] = type } };

    private static async Task<List<double>> MeasureAsync(HttpClient http, Func<int, string> address, int connections, double seconds)
    {
        var times = new List<double>();
        var began = Stopwatch.GetTimestamp();
        await Task.WhenAll(Enumerable.Range(0, connections).Select(async connection =>
        {
            for (var i = connection; Stopwatch.GetElapsedTime(began).TotalSeconds < seconds; i += connections)
            {
                var start = Stopwatch.GetTimestamp();
                using var response = await http.GetAsync(address(i));
                await response.Content.ReadAsByteArrayAsync();
                if (!response.IsSuccessStatusCode)
                    throw new InvalidOperationException($"{(int)response.StatusCode} from {address(i)}");
                lock (times)
                    times.Add(Stopwatch.GetElapsedTime(start).TotalMilliseconds);
            }
        }));
        return times;
    }

    /// <summary>Waits until the trail grows by no more than what a look at it leaves itself, so that one round does not weigh on the next; how many events it holds.</summary>
    private static async Task<int> SettledAsync(RunningService service)
    {
        for (var last = int.MinValue; ;)
        {
            var now = await EventsAsync(service);
            if (now <= last + 1)
                return now;
            last = now;
            await Task.Delay(700);
        }
    }

    private static async Task<int> EventsAsync(RunningService service) =>
        (int)JsonNode.Parse(await service.Http.GetStringAsync("/fhir/AuditEvent?_summary=count"))!["total"]!;

    private static double At(List<double> sorted, double share) => sorted[(int)Math.Min(sorted.Count - 1, sorted.Count * share)];
}
