using System.Diagnostics;
using System.Text;
using RehabRecords.Benchmarks;

// Prints figures of the running service. Machines are noisy: compare figures of one run with each other, not with another day's.
if (args is ["clinical", ..])
{
    Evaluation.Run(args.Length > 1 ? int.Parse(args[1]) : 20);
    return 0;
}

var root = FindRoot();
if (args is ["validation", ..])
{
    await ValidationSpeed.RunAsync(args[1..], root);
    return 0;
}

if (args is ["store", ..])
{
    await StoreSpeed.RunAsync(args[1..], root);
    return 0;
}

if (args is ["pages", ..])
{
    await PageSpeed.RunAsync(args[1..], root);
    return 0;
}

var assembly = Path.Combine(root, "artifacts/bin/RehabRecords/release/RehabRecords.dll");
if (!File.Exists(assembly))
{
    Console.Error.WriteLine("Build the service first: dotnet build -c Release");
    return 1;
}

if (args is ["exchange", ..])
    return await ExchangeTable.PrintAsync(assembly);
if (args is ["export", ..])
{
    await Exports.RunAsync(assembly, args.Length > 1 ? args[1..].Select(int.Parse) : [2_000, 20_000, 60_000]);
    return 0;
}

var seconds = args.Length > 0 ? int.Parse(args[0]) : 10;
var observation = await File.ReadAllTextAsync(Path.Combine(root, "tests/RehabRecords.Benchmarks/observation.json"));
Console.WriteLine($"{Environment.ProcessorCount} cores, {seconds} s a measurement, warm-up {seconds} s");

var starts = new List<double>();
for (var i = 0; i < 5; i++)
    starts.Add(await ColdStartAsync());
Console.WriteLine($"cold start to first validated POST answered: median {Median(starts):0.00} s (min {starts.Min():0.00}, max {starts.Max():0.00}, 5 starts)");

await using var service = RunningService.Start(assembly);
await service.UntilAsync(IsReadyAsync);
Console.WriteLine($"memory when ready: {service.ResidentMegabytes} MB");
var clinic = new Clinic(service.Http, Path.Combine(root, "examples/demo"));
await clinic.OpenAsync(200);
await MeasureAsync("", 4, clinic.PostSessionAsync, print: false);
var one = await MeasureAsync("POST /api/sessions, 1 connection", 1, clinic.PostSessionAsync);
var sixteen = await MeasureAsync("POST /api/sessions, 16 connections", 16, clinic.PostSessionAsync);
Console.WriteLine($"ratio 16 to 1 connection: {sixteen / one:0.00}");
await MeasureAsync("POST /fhir/Observation (base R4), 16 connections", 16, async () =>
{
    using var response = await service.Http.PostAsync("/fhir/Observation", Fhir(observation));
    response.EnsureSuccessStatusCode();
});
await MeasureAsync("GET /health/live, 16 connections (bare answer)", 16, async () => (await service.Http.GetAsync("/health/live")).Dispose());
Console.WriteLine($"memory after the load: {service.ResidentMegabytes} MB");
return 0;

async Task<double> ColdStartAsync()
{
    var began = Stopwatch.GetTimestamp();
    await using var fresh = RunningService.Start(assembly);
    await fresh.UntilAsync(async http =>
    {
        using var response = await http.PostAsync("/fhir/Observation", Fhir(observation));
        return (int)response.StatusCode == 201;
    });
    return Stopwatch.GetElapsedTime(began).TotalSeconds;
}

async Task<double> MeasureAsync(string what, int connections, Func<Task> request, bool print = true)
{
    var times = new List<double>();
    var began = Stopwatch.GetTimestamp();
    var clients = Enumerable.Range(0, connections).Select(async _ =>
    {
        while (Stopwatch.GetElapsedTime(began).TotalSeconds < seconds)
        {
            var start = Stopwatch.GetTimestamp();
            await request();
            lock (times)
                times.Add(Stopwatch.GetElapsedTime(start).TotalMilliseconds);
        }
    });
    await Task.WhenAll(clients);
    var rate = times.Count / Stopwatch.GetElapsedTime(began).TotalSeconds;
    times.Sort();
    if (print)
        Console.WriteLine($"{what}: {rate:0}/s, p50 {At(times, 0.5):0.0} ms, p99 {At(times, 0.99):0.0} ms, max {times[^1]:0.0} ms");
    return rate;
}

static async Task<bool> IsReadyAsync(HttpClient http)
{
    using var response = await http.GetAsync("/health/ready");
    return response.IsSuccessStatusCode;
}

static StringContent Fhir(string json) => new(json, Encoding.UTF8, "application/fhir+json");

static double At(List<double> sorted, double share) => sorted[(int)Math.Min(sorted.Count - 1, sorted.Count * share)];

static double Median(List<double> values) => values.Order().ElementAt(values.Count / 2);

static string FindRoot()
{
    for (var folder = new DirectoryInfo(AppContext.BaseDirectory); folder is not null; folder = folder.Parent)
        if (File.Exists(Path.Combine(folder.FullName, "RehabRecords.sln")))
            return folder.FullName;
    throw new InvalidOperationException("Run this from a checkout.");
}
