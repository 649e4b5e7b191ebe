using System.Diagnostics;
using System.Net;
using System.Text.RegularExpressions;

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
        var assembly = Path.Combine(root, "artifacts/bin/RehabRecords/release/RehabRecords.dll");
        var open = RunningService.Start(assembly);
        await open.UntilReadyAsync();
        var clinic = new Clinic(open.Http, Path.Combine(root, "examples/demo"));
        await clinic.OpenAsync(People);
        await Parallel.ForEachAsync(Enumerable.Range(0, People * SessionsEach), new ParallelOptions { MaxDegreeOfParallelism = 8 }, async (_, _) => await clinic.PostSessionAsync());
        open.KeepFolder = true;
        await open.DisposeAsync();
        await using var service = RunningService.Closed(open.Folder, assembly);
        await service.UntilReadyAsync();
        await SignInAsync(service.Http, "Rowan Pretendley");
        Console.WriteLine($"{People} people, {People * SessionsEach} sessions of six exercises, signed in and audited; {times} requests for each page, in ms");
        var bare = 0d;
        foreach (var (name, address) in Pages(clinic))
        {
            var (p50, words) = await MeasureAsync(service.Http, address, times);
            // Of a busy machine the ratios say more than the times.
            bare = bare == 0 ? p50 : bare;
            Console.WriteLine($"{name}: {words}, {p50 / bare:0.0} times the first");
        }
        Console.WriteLine($"memory: {service.ResidentMegabytes} MB");
    }

    public static async Task SignInAsync(HttpClient http, string who)
    {
        var asked = await http.GetStringAsync("/caseload");
        var fields = Regex.Matches(asked, "<input type=\"hidden\" name=\"([^\"]+)\" value=\"([^\"]*)\"").Select(m => KeyValuePair.Create(m.Groups[1].Value, WebUtility.HtmlDecode(m.Groups[2].Value)));
        using var answer = await http.PostAsync("/development-issuer/authorize", new FormUrlEncodedContent(
            [.. fields, new("person", who), new("role", "therapist"), new("organisation", "clinic"), new("profession", "physiotherapist")]));
        if (!answer.IsSuccessStatusCode || answer.RequestMessage!.RequestUri!.AbsolutePath != "/caseload")
            throw new InvalidOperationException($"Signing in ended at {answer.RequestMessage!.RequestUri} with {(int)answer.StatusCode}.");
    }

    private static (string Name, Func<int, string> Address)[] Pages(Clinic clinic)
    {
        (string Person, string Programme) At(int i) => clinic.Caseload[i * 37 % clinic.Caseload.Count];
        return
        [
            ("health, the bare answer", _ => "/health/live"),
            ("caseload", _ => "/caseload"),
            ("caseload, searched", i => $"/caseload?find=benchley{i}"),
            ("caseload, filtered, last page", _ => "/caseload?why=any&order=last-report&page=20"),
            ("person", i => $"/people/{At(i).Person}"),
            ("note, to review", i => $"/notes/{clinic.NoteOf(At(i).Person).Split('/')[^1]}"),
            ("versions of a note", i => $"/notes/{clinic.NoteOf(At(i).Person).Split('/')[^1]}/versions"),
            ("links from home", i => $"/programmes/{At(i).Programme}/home-links"),
            ("programme desk", i => $"/programmes/{At(i).Programme}/desk"),
            ("home sheet", i => $"/programmes/{At(i).Programme}/home-sheet"),
            ("diary sheet", i => $"/programmes/{At(i).Programme}/diary-sheet"),
            ("discharge form", i => $"/people/{At(i).Person}/discharge"),
            ("letter form", i => $"/people/{At(i).Person}/letters/new"),
            ("library", _ => "/library"),
            ("help", _ => "/help"),
        ];
    }

    private static async Task<(double P50, string Words)> MeasureAsync(HttpClient http, Func<int, string> address, int times)
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
                return (0, $"{(int)response.StatusCode} from {address(i)}");
            if (i >= WarmUp)
                took.Add(Stopwatch.GetElapsedTime(began).TotalMilliseconds);
        }

        took.Sort();
        return (took[took.Count / 2], $"p50 {took[took.Count / 2]:0.0}, p95 {took[(int)(took.Count * .95)]:0.0}, max {took[^1]:0.0}, {bytes / 1000.0:0} kB");
    }
}
