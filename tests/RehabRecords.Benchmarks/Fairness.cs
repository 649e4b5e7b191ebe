using System.Diagnostics;
using System.Globalization;

namespace RehabRecords.Benchmarks;

/// <summary>How much somebody who asks without end slows somebody else who asks now and then, both signed in.</summary>
internal static class Fairness
{
    private const int People = 100;
    private const int Rounds = 3;

    public static async Task RunAsync(string[] args, string assembly, string root)
    {
        var seconds = args.Length > 0 ? double.Parse(args[0], CultureInfo.InvariantCulture) : 10;
        var atOnce = args.Length > 1 ? args[1..] : ["1", "2", "4", "1000"];
        var open = RunningService.Start(assembly);
        await open.UntilReadyAsync();
        var clinic = new Clinic(open.Http, Path.Combine(root, "examples/demo"));
        await clinic.OpenAsync(People);
        for (var i = 0; i < 5 * People; i++)
            await clinic.PostSessionAsync();
        open.KeepFolder = true;
        await open.DisposeAsync();
        var folder = open.Folder;
        Console.WriteLine($"{Environment.ProcessorCount} cores; a person's page 10 times a second by one, and without a pause from 64 connections by another; {Rounds} rounds of {seconds} s alone and beside the other, in turn");
        foreach (var most in atOnce)
        {
            await using var service = RunningService.Closed(folder, assembly, most);
            service.KeepFolder = most != atOnce[^1];
            await service.UntilReadyAsync();
            await PageSpeed.SignInAsync(service.Http, "Rowan Pretendley");
            using var other = new HttpClient(new SocketsHttpHandler { MaxConnectionsPerServer = 64 }) { BaseAddress = service.Http.BaseAddress, Timeout = TimeSpan.FromMinutes(5) };
            await PageSpeed.SignInAsync(other, "Juniper Inventable");
            await NowAndThenAsync(service.Http, clinic, seconds);
            var (alone, beside) = (new List<double>(), new List<double>());
            var (answered, refused) = (0, 0);
            for (var round = 0; round < Rounds; round++)
            {
                alone.AddRange(await NowAndThenAsync(service.Http, clinic, seconds));
                using var end = new CancellationTokenSource();
                var flood = Task.WhenAll(Enumerable.Range(0, 64).Select(caller => Task.Run(async () =>
                {
                    for (var n = caller; !end.IsCancellationRequested; n += 64)
                    {
                        using var answer = await other.GetAsync($"/people/{clinic.Caseload[n % People].Person}");
                        await answer.Content.ReadAsByteArrayAsync();
                        Interlocked.Increment(ref answer.IsSuccessStatusCode ? ref answered : ref refused);
                    }
                })));
                beside.AddRange(await NowAndThenAsync(service.Http, clinic, seconds));
                await end.CancelAsync();
                await flood;
            }

            alone.Sort();
            beside.Sort();
            Console.WriteLine($"{most} of a caller at once: alone p50 {At(alone, .5):0.0} p99 {At(alone, .99):0.0} ms; beside the other p50 {At(beside, .5):0.0} p99 {At(beside, .99):0.0} ms, {At(beside, .99) / At(alone, .99):0.0} times (goal 2); the other got {answered / (Rounds * seconds):0}/s, and {refused / (Rounds * seconds):0}/s refused");
        }
    }

    private static async Task<List<double>> NowAndThenAsync(HttpClient http, Clinic clinic, double seconds)
    {
        var took = new List<double>();
        var over = Stopwatch.StartNew();
        for (var n = 0; over.Elapsed.TotalSeconds < seconds; n++)
        {
            var began = Stopwatch.GetTimestamp();
            using var answer = await http.GetAsync($"/people/{clinic.Caseload[n * 37 % People].Person}");
            await answer.Content.ReadAsByteArrayAsync();
            answer.EnsureSuccessStatusCode();
            took.Add(Stopwatch.GetElapsedTime(began).TotalMilliseconds);
            var pause = TimeSpan.FromMilliseconds(100) - Stopwatch.GetElapsedTime(began);
            if (pause > TimeSpan.Zero)
                await Task.Delay(pause);
        }

        return took;
    }

    private static double At(List<double> sorted, double share) => sorted[(int)((sorted.Count - 1) * share)];
}
