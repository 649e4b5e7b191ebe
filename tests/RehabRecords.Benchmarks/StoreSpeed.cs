using System.Diagnostics;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Benchmarks;

/// <summary>
/// The store alone, without HTTP and validation, on both engines in one run: durable writes by one and by many, and reads and
/// searches against the size of the store. The server's connection is the first argument or in REHAB_TEST_POSTGRES.
/// </summary>
internal static class StoreSpeed
{
    private const int People = 1000;
    private const string Codes = "https://clinic.example/codes";
    private static readonly TimeSpan Length = TimeSpan.FromSeconds(8);
    private static readonly DateTimeOffset Start = new(2026, 1, 1, 8, 0, 0, TimeSpan.Zero);

    private static readonly (string Name, string Type, string Query)[] Searches =
    [
        ("a person's latest 20", "Observation", "subject=Patient/p{0}&_sort=-date&_count=20"),
        ("a person's latest 20 of a code", "Observation", "patient=Patient/p{0}&code=c{1}&_sort=-date&_count=20"),
        ("latest 20 of a code", "Observation", "code=c{1}&_sort=-date&_count=20"),
        ("20 of a code and a value", "Observation", "code=c{1}&value-quantity=gt30&_count=20"),
        ("by the person's identifier", "Observation", "patient.identifier=https://clinic.example/ids|{0}&_count=20"),
    ];

    public static async Task RunAsync(string[] args, string root)
    {
        var connection = args.FirstOrDefault(a => a.Contains('=')) ?? Environment.GetEnvironmentVariable("REHAB_TEST_POSTGRES");
        var sizes = args.Where(a => int.TryParse(a, out _)).Select(int.Parse).DefaultIfEmpty(20_000).ToArray();
        var pack = DefinitionsPack.Open(Path.Combine(root, "artifacts/bin/RehabRecords/release", DefinitionsPack.FileName));
        var indexer = new SearchIndexer(SearchParameters.From(pack.SearchParameters(), ResourceRegistry.Standard, pack.Compartments()));
        var folder = Directory.CreateTempSubdirectory("rehab-store-speed-").FullName;
        var made = new List<string>();
        var opens = new List<(string Name, Func<Task<RecordStore>> Open)> { ("SQLite", () => RecordStore.OpenSqliteAsync(folder, indexer, TimeProvider.System)) };
        if (connection is not null)
            foreach (var partitions in new[] { 1, 8 })
            {
                var schema = $"speed_{partitions}_{Guid.NewGuid():N}"[..30];
                made.Add(schema);
                opens.Add(($"PostgreSQL, {partitions} partition(s)", () => RecordStore.OpenPostgresAsync(connection, schema, indexer, TimeProvider.System, partitions)));
            }

        Console.WriteLine($"{Environment.ProcessorCount} cores, {Length.TotalSeconds} s a measurement after a warm-up of as long; one Observation is about 700 bytes and 14 rows of the index");
        foreach (var (name, open) in opens)
        {
            await using var store = await open();
            await FillPeopleAsync(store);
            await WriteAsync(store, 16, 1, Length);
            Say($"{name}: durable writes, 1 at a time", await WriteAsync(store, 1, 1, Length));
            Say($"{name}: durable writes, 16 at a time", await WriteAsync(store, 16, 1, Length));
            Say($"{name}: sets of 20, 4 at a time", await WriteAsync(store, 4, 20, Length));
            if (name.StartsWith("PostgreSQL", StringComparison.Ordinal))
            {
                await using var second = await open();
                var both = await Task.WhenAll(WriteAsync(store, 8, 1, Length), WriteAsync(second, 8, 1, Length));
                Say($"{name}: durable writes by two instances, 8 at a time each", [.. both.SelectMany(b => b).Order()]);
            }

            var has = await CountAsync(store);
            foreach (var size in sizes.Order())
            {
                var (began, from) = (Stopwatch.GetTimestamp(), has);
                for (; has < size; has += 200)
                    await store.CommitAsync(Set(200, (int)has));
                if (has > from)
                    Console.WriteLine($"{name}: filled to {has} by sets of 200, {(has - from) / Stopwatch.GetElapsedTime(began).TotalSeconds:0} Observations/s, {await store.BytesAsync() / (double)has:0} bytes each");
                Say($"{name}, {size} Observations: durable writes, 16 at a time", await WriteAsync(store, 16, 1, Length));
                foreach (var (what, type, query) in Searches)
                    await SearchAsync(store, $"{name}, {size} Observations: {what}", type, query);
            }
        }

        Directory.Delete(folder, recursive: true);
        Console.WriteLine("Schemas to drop: " + string.Join(", ", made));
    }

    private static async Task FillPeopleAsync(RecordStore store)
    {
        for (var from = 0; from < People; from += 200)
        {
            var set = new WriteSet();
            for (var i = from; i < from + 200; i++)
                set.Create(new Patient { Id = $"p{i}", Identifier = [new Identifier("https://clinic.example/ids", $"{i}")], Name = [new HumanName { Family = $"Example{i}", Given = ["Ann"] }] });
            await store.CommitAsync(set);
        }
    }

    private static async Task<long> CountAsync(RecordStore store) => (await store.SearchAsync(SearchQuery.Parse(store.Parameters, "Observation", "") with { Count = 0 })).Total ?? 0;

    private static WriteSet Set(int count, int seed)
    {
        var set = new WriteSet();
        for (var i = 0; i < count; i++)
            set.Create(Result(seed + i));
        return set;
    }

    private static Observation Result(int n) => new()
    {
        Status = ObservationStatus.Final,
        Category = [new CodeableConcept("http://terminology.hl7.org/CodeSystem/observation-category", "therapy")],
        Code = new CodeableConcept(Codes, $"c{n % 37}", "An exercise that was practised", null),
        Subject = new ResourceReference($"Patient/p{n * 7919L % People}"),
        Effective = new FhirDateTime(Start.AddMinutes(n * 13L % 500_000)),
        Value = new Quantity((n % 50) + 0.5m, "s", "http://unitsofmeasure.org"),
        Performer = [new ResourceReference { Display = "The person at home" }],
        Note = [new Annotation { Text = "Went well; a little tired at the end." }],
    };

    private static async Task<List<double>> WriteAsync(RecordStore store, int clients, int size, TimeSpan length)
    {
        var times = new List<double>[clients];
        var over = Stopwatch.StartNew();
        await Task.WhenAll(Enumerable.Range(0, clients).Select(client => Task.Run(async () =>
        {
            var mine = times[client] = [];
            for (var n = client; over.Elapsed < length; n += clients)
            {
                var began = Stopwatch.GetTimestamp();
                await store.CommitAsync(Set(size, n * size));
                mine.Add(Stopwatch.GetElapsedTime(began).TotalMilliseconds);
            }
        })));
        return [.. times.SelectMany(t => t).Order()];
    }

    private static async Task SearchAsync(RecordStore store, string what, string type, string query)
    {
        var times = new List<double>();
        for (var i = 0; i < 120; i++)
        {
            var parsed = SearchQuery.Parse(store.Parameters, type, string.Format(query, i * 31 % People, i % 37));
            var began = Stopwatch.GetTimestamp();
            await store.SearchAsync(parsed);
            if (i >= 20)
                times.Add(Stopwatch.GetElapsedTime(began).TotalMilliseconds);
        }

        times.Sort();
        Console.WriteLine($"{what,-70} p50 {At(times, 0.5),7:0.00} ms  p99 {At(times, 0.99),7:0.00} ms");
    }

    private static void Say(string what, List<double> times) =>
        Console.WriteLine($"{what,-70} {times.Count / Length.TotalSeconds,8:0} sets/s  p50 {At(times, 0.5),7:0.00} ms  p99 {At(times, 0.99),7:0.00} ms  max {times[^1],7:0.00} ms");

    private static double At(List<double> sorted, double share) => sorted[(int)((sorted.Count - 1) * share)];
}
