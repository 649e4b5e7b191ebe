using System.Diagnostics;

namespace RehabRecords.Benchmarks;

/// <summary>How long the service takes for each page when it holds a thousand people, one request after the other.</summary>
internal static class PageSpeed
{
    private const int People = 1000;
    private const int SessionsEach = 3;
    private const int WarmUp = 20;

    public static async Task RunAsync(string[] args, string root)
    {
        var times = args.Length > 0 ? int.Parse(args[0]) : 200;
        await using var service = RunningService.Start(Path.Combine(root, "artifacts/bin/RehabRecords/release/RehabRecords.dll"));
        await service.UntilAsync(async http => (await http.GetAsync("/health/ready")).IsSuccessStatusCode);
        var clinic = new Clinic(service.Http, Path.Combine(root, "examples/demo"));
        await clinic.OpenAsync(People);
        await Parallel.ForEachAsync(Enumerable.Range(0, People * SessionsEach), new ParallelOptions { MaxDegreeOfParallelism = 8 }, async (_, _) => await clinic.PostSessionAsync());
        Console.WriteLine($"{People} people, {People * SessionsEach} sessions of six exercises; {times} requests for each page, in ms");
        foreach (var (name, address) in Pages(clinic))
            Console.WriteLine(await MeasureAsync(service.Http, name, address, times));
        Console.WriteLine($"memory: {service.ResidentMegabytes} MB");
    }

    private static (string Name, Func<int, string> Address)[] Pages(Clinic clinic)
    {
        (string Person, string Programme) At(int i) => clinic.Caseload[i * 37 % clinic.Caseload.Count];
        return
        [
            ("caseload", _ => "/caseload"),
            ("caseload, searched", i => $"/caseload?find=benchley{i}"),
            ("caseload, filtered, last page", _ => "/caseload?why=any&order=last-report&page=20"),
            ("person", i => $"/people/{At(i).Person}"),
            ("note, to review", i => $"/notes/{clinic.NoteOf(At(i).Person).Split('/')[^1]}"),
            ("note, as a document", i => clinic.NoteOf(At(i).Person)),
            ("programme desk", i => $"/programmes/{At(i).Programme}/desk"),
            ("home sheet", i => $"/programmes/{At(i).Programme}/home-sheet"),
            ("diary sheet", i => $"/programmes/{At(i).Programme}/diary-sheet"),
            ("discharge form", i => $"/people/{At(i).Person}/discharge"),
            ("letter form", i => $"/people/{At(i).Person}/letters/new"),
            ("library", _ => "/library"),
            ("help", _ => "/help"),
        ];
    }

    private static async Task<string> MeasureAsync(HttpClient http, string name, Func<int, string> address, int times)
    {
        var took = new List<double>();
        var bytes = 0;
        for (var i = 0; i < WarmUp + times; i++)
        {
            using var request = new HttpRequestMessage(HttpMethod.Get, address(i)) { Headers = { { "Accept", "text/html" } } };
            var began = Stopwatch.GetTimestamp();
            using var response = await http.SendAsync(request);
            bytes = (await response.Content.ReadAsByteArrayAsync()).Length;
            if (!response.IsSuccessStatusCode)
                return $"{name}: {(int)response.StatusCode} from {address(i)}";
            if (i >= WarmUp)
                took.Add(Stopwatch.GetElapsedTime(began).TotalMilliseconds);
        }

        took.Sort();
        return $"{name}: p50 {took[took.Count / 2]:0.0}, p95 {took[(int)(took.Count * .95)]:0.0}, max {took[^1]:0.0}, {bytes / 1000.0:0} kB";
    }
}
