using System.Diagnostics;
using System.Text;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Benchmarks;

/// <summary>
/// What the service does, each beside what it could do at best, in one run: machines are noisy, so the ratios count and not the rates.
/// On SQLite, and on PostgreSQL too where REHAB_TEST_POSTGRES names a server.
/// </summary>
internal sealed class RatioTable(string root, double seconds, int observations)
{
    private const int Callers = 16;
    private const int Starts = 5;
    private const int Long = 500;
    private const int ManyPeople = 100_000;
    private const string Unique = "to-be-replaced";

    private readonly string _assembly = Path.Combine(root, "artifacts/bin/RehabRecords/release/RehabRecords.dll");
    private readonly string _observation = File.ReadAllText(Path.Combine(root, "tests/RehabRecords.Benchmarks/observation.json"));

    public async Task RunAsync()
    {
        Console.WriteLine($"{Environment.ProcessorCount} cores, {seconds} s a measurement after a warm-up of half as long, {Callers} callers unless it says otherwise");
        await ColdStartAsync();
        DurabilityFolders(out var disk, out var memory);
        await DurabilityAsync(disk, memory);
        foreach (var engine in BenchmarkEngine.All(root, RecordStore.UsualPartitions))
            await OnAsync(engine);
    }

    private async Task ColdStartAsync()
    {
        var starts = new List<double>();
        for (var i = 0; i < Starts; i++)
        {
            var began = Stopwatch.GetTimestamp();
            await using var fresh = RunningService.Start(_assembly);
            await fresh.UntilAsync(async http => (int)(await PostAsync(http, "/fhir/Observation")).StatusCode == 201);
            starts.Add(Stopwatch.GetElapsedTime(began).TotalSeconds);
        }

        // The first unpacks its archive.
        await ValidationSpeed.ColdAsync("stock");
        var stock = double.Parse(Regex.Match(await ValidationSpeed.ColdAsync("stock"), @"after ([\d.]+) s").Groups[1].Value, System.Globalization.CultureInfo.InvariantCulture);
        Say($"cold start to the first validated POST answered, median of {Starts}", $"{Median(starts):0.00} s (goal 1.5); stock validator to its first verdict {stock:0.00} s, {stock / Median(starts):0.0} times as long (goal 4)");
    }

    /// <summary>A commit that waits for the disk against one on a file system of memory, where the same calls cost nothing.</summary>
    private async Task DurabilityAsync(string disk, string? memory)
    {
        if (memory is null)
        {
            Say("durability", "not measured: no file system of memory at /dev/shm");
            return;
        }

        var rates = new List<double>();
        foreach (var folder in new[] { disk, memory, disk, memory })
        {
            await using var store = await new BenchmarkEngine("SQLite", root, null, 0).OpenAsync(Directory.CreateDirectory(Path.Combine(folder, Guid.NewGuid().ToString("N"))).FullName);
            rates.Add((await Load.RunAsync(Callers, seconds, n => store.CommitAsync(Filling.Set(1, n)))).PerSecond);
        }

        Directory.Delete(disk, recursive: true);
        Directory.Delete(memory, recursive: true);
        Say("SQLite, commits that wait for the disk", $"{rates[0] + rates[2]:0} in the time of {rates[1] + rates[3]:0} that wait for nothing: {(rates[0] + rates[2]) / (rates[1] + rates[3]):0.00}");
    }

    private async Task OnAsync(BenchmarkEngine engine)
    {
        await using var bare = RunningService.Start(typeof(RatioTable).Assembly.Location, "bare-answer");
        await bare.UntilAsync(async http => (await http.GetAsync("/bytes")).IsSuccessStatusCode);
        var folder = Directory.CreateTempSubdirectory("rehabrecords-bench-").FullName;
        Clinic clinic;
        await using (var service = await StartAsync(engine, folder))
        {
            Say($"{engine.Name}: memory when ready", $"{service.ResidentMegabytes} MB");
            await ReadsAndCreatesAsync(engine, service, bare);
            clinic = new Clinic(service.Http, Path.Combine(root, "examples/demo"));
            await clinic.OpenAsync(100);
            await SessionsAsync(engine, service, clinic);
            for (var i = 0; i < Long; i++)
                await clinic.PostSessionAsync(0);
            Say($"{engine.Name}: memory after the load", $"{service.ResidentMegabytes} MB, at most {service.PeakMegabytes} MB (goal 300)");
            service.KeepFolder = true;
        }

        var few = await DraftAfterStartAsync(engine, folder, clinic, _ => Task.CompletedTask);
        await using (var store = await engine.OpenAsync(folder))
        {
            await Filling.PeopleAsync(store, ManyPeople);
            var before = Stopwatch.GetTimestamp();
            for (var n = 0; n < observations; n += 200)
                await store.CommitAsync(Filling.Set(200, n));
            Say($"{engine.Name}: {observations} Observations of {Filling.People} of {ManyPeople} more people put into the store", $"{observations / Stopwatch.GetElapsedTime(before).TotalSeconds:0}/s");
        }

        var many = await DraftAfterStartAsync(engine, folder, clinic, async service =>
        {
            Say($"{engine.Name}: search, 20 results of {observations} Observations", $"{await SearchSpeed.MeasureAsync(service, Callers, seconds)} (goal 5,000/s and p99 20 ms)");
            Say($"{engine.Name}: memory after searches", $"{service.ResidentMegabytes} MB, at most {service.PeakMegabytes} MB (goal 300)");
        });
        Say($"{engine.Name}: session and draft of a person with {Long} sessions, beside so many people", $"{many:0.0} ms, {few:0.0} ms beside 100 people: {many / few:0.00} times (goal 1.2)");
        await engine.DropAsync(folder);
    }

    /// <summary>Both times in a process as young and as warm as the other: one that has run for long is twice as fast.</summary>
    private async Task<double> DraftAfterStartAsync(BenchmarkEngine engine, string folder, Clinic clinic, Func<RunningService, Task> then)
    {
        await using var service = await StartAsync(engine, folder);
        service.KeepFolder = true;
        var here = clinic.At(service.Http);
        await Load.RunAsync(Callers, seconds, _ => here.PostSessionAsync());
        var draft = (await Load.RunAsync(1, 2 * seconds, _ => here.PostSessionAsync(0))).P50;
        await then(service);
        return draft;
    }

    private async Task ReadsAndCreatesAsync(BenchmarkEngine engine, RunningService service, RunningService bare)
    {
        var created = await PostAsync(service.Http, "/fhir/Observation");
        var address = created.Headers.Location!.PathAndQuery.Split("/_history")[0];
        var (echo, create) = (await Load.RunAsync(Callers, seconds, _ => PostAsync(bare.Http, "/bytes")), await Load.RunAsync(Callers, seconds, _ => PostAsync(service.Http, "/fhir/Observation")));
        Say("bare answer of what was posted", echo.ToString());
        Say($"{engine.Name}: create of an Observation, base R4", $"{create}; {create.PerSecond / echo.PerSecond:0.000} of the bare answer (goal {3000 / 45000.0:0.000})");
        var (bytes, read) = (await Load.RunAsync(Callers, seconds, _ => GetAsync(bare.Http, "/bytes")), await Load.RunAsync(Callers, seconds, _ => GetAsync(service.Http, address)));
        Say("bare answer of the same bytes", bytes.ToString());
        Say($"{engine.Name}: read of an Observation", $"{read}; {read.PerSecond / bytes.PerSecond:0.00} of the bare answer (goal 0.40)");
    }

    private async Task SessionsAsync(BenchmarkEngine engine, RunningService service, Clinic clinic)
    {
        var one = await Load.RunAsync(1, seconds, _ => clinic.PostSessionAsync());
        var many = await Load.RunAsync(Callers, seconds, _ => clinic.PostSessionAsync());
        var bound = await BoundAsync(engine, service.Http, clinic);
        Say($"{engine.Name}: session of six exercises, 1 caller", $"{one}; parse, validate and commit of the same alone {bound:0.0} ms: {bound / one.P50:0.00} of the bound (goal 0.60)");
        Say($"{engine.Name}: session of six exercises", $"{many}; p99 {many.P99 / many.P50:0.0} times p50 (goal 5)");
    }

    /// <summary>What the resources of one session cost alone: read, checked against their profiles and committed, in this process.</summary>
    private async Task<double> BoundAsync(BenchmarkEngine engine, HttpClient http, Clinic clinic)
    {
        var bodies = new List<string>();
        foreach (var address in clinic.LastStored)
        {
            var body = JsonNode.Parse(await http.GetByteArrayAsync("/fhir/" + address))!.AsObject();
            body.Remove("id");
            foreach (var identifier in body["identifier"] is JsonArray all ? [.. all] : new[] { body["identifier"] })
                if (identifier is not null)
                    identifier["value"] = Unique;
            bodies.Add(body.ToJsonString());
        }

        _ = ExpressionLimits.Apply();
        var validator = ResourceValidator.Create(DefinitionsPack.Open(Path.Combine(Path.GetDirectoryName(_assembly)!, DefinitionsPack.FileName)));
        var folder = Directory.CreateTempSubdirectory("rehabrecords-bench-").FullName;
        Load load;
        await using (var store = await engine.OpenAsync(folder))
            load = await Load.RunAsync(1, seconds, async _ =>
            {
                var set = new WriteSet();
                foreach (var body in bodies)
                {
                    // What must be unique in a store, since all this is stored again and again.
                    var resource = ResourceReader.Read(Encoding.UTF8.GetBytes(body.Replace(Unique, $"{Guid.NewGuid()}", StringComparison.Ordinal)), FhirFormat.Json);
                    if (validator.Validate(resource).Any(i => i.Refuses))
                        throw new InvalidOperationException($"{resource.TypeName}/{resource.Id} is not valid.");
                    set.Create(resource);
                }

                await store.CommitAsync(set);
            });
        await engine.DropAsync(folder);
        return load.P50;
    }

    private async Task<RunningService> StartAsync(BenchmarkEngine engine, string folder)
    {
        var service = RunningService.On(folder, _assembly, engine.SettingsFor(folder));
        await service.UntilReadyAsync();
        return service;
    }

    private async Task<HttpResponseMessage> PostAsync(HttpClient http, string path)
    {
        using var content = new StringContent(_observation, Encoding.UTF8, "application/fhir+json");
        return Success(await http.PostAsync(path, content));
    }

    private static HttpResponseMessage Success(HttpResponseMessage response) =>
        response.IsSuccessStatusCode ? response : throw new HttpRequestException($"{response.RequestMessage!.RequestUri} answered {(int)response.StatusCode}");

    private static async Task GetAsync(HttpClient http, string path)
    {
        using var response = Success(await http.GetAsync(path));
        await response.Content.ReadAsByteArrayAsync();
    }

    private static void DurabilityFolders(out string disk, out string? memory)
    {
        disk = Directory.CreateTempSubdirectory("rehabrecords-bench-").FullName;
        memory = Directory.Exists("/dev/shm") ? Directory.CreateDirectory($"/dev/shm/rehabrecords-bench-{Guid.NewGuid():N}").FullName : null;
    }

    private static void Say(string what, string found) => Console.WriteLine($"{what}: {found}");

    private static double Median(List<double> values) => values.Order().ElementAt(values.Count / 2);
}
