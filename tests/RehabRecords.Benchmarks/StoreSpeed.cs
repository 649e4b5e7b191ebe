using System.Diagnostics;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Benchmarks;

/// <summary>
/// The store alone, without HTTP and validation, on both engines in one run: durable writes by one and by many, and reads and
/// searches against the size of the store.
/// </summary>
internal static class StoreSpeed
{
    private const int Callers = 16;
    private const double Seconds = 6;

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
        var sizes = args.Where(a => int.TryParse(a, out _)).Select(int.Parse).DefaultIfEmpty(20_000).Order().ToArray();
        Console.WriteLine($"{Environment.ProcessorCount} cores, {Seconds} s a measurement after a warm-up of half as long; one Observation is about 700 bytes and 14 rows of the index");
        var named = args.Where(a => !int.TryParse(a, out _)).ToList();
        foreach (var engine in BenchmarkEngine.All(root, 1, RecordStore.UsualPartitions).Where(e => named.Count == 0 || named.Exists(n => e.Name.Contains(n, StringComparison.OrdinalIgnoreCase))))
        {
            var folder = Directory.CreateTempSubdirectory("rehabrecords-bench-").FullName;
            await using (var store = await engine.OpenAsync(folder))
            {
                await Filling.PeopleAsync(store);
                Say(engine, "durable writes, 1 at a time", await WriteAsync(store, 1, 1));
                Say(engine, "durable writes, 16 at a time", await WriteAsync(store, Callers, 1));
                Say(engine, "sets of 20, 4 at a time", await WriteAsync(store, 4, 20));
                if (engine.Connection is not null)
                    await TwoInstancesAsync(engine, store, folder);
                await GrowAsync(engine, store, sizes);
            }

            await engine.DropAsync(folder);
        }
    }

    private static async Task TwoInstancesAsync(BenchmarkEngine engine, RecordStore store, string folder)
    {
        await using var second = await engine.OpenAsync(folder);
        var both = await Task.WhenAll(WriteAsync(store, Callers / 2, 1), WriteAsync(second, Callers / 2, 1));
        Say(engine, "durable writes, 8 at a time by each of two instances, the first", both[0]);
        Say(engine, "durable writes, 8 at a time by each of two instances, the second", both[1]);
    }

    private static async Task GrowAsync(BenchmarkEngine engine, RecordStore store, int[] sizes)
    {
        var has = (await store.SearchAsync(SearchQuery.Parse(store.Parameters, "Observation", "") with { Count = 0 })).Total ?? 0;
        foreach (var size in sizes)
        {
            var (began, from) = (Stopwatch.GetTimestamp(), has);
            for (; has < size; has += 200)
                await store.CommitAsync(Filling.Set(200, (int)has));
            if (has > from)
                Console.WriteLine($"{engine.Name}: filled to {has} Observations by sets of 200, {(has - from) / Stopwatch.GetElapsedTime(began).TotalSeconds:0}/s, {await store.BytesAsync() / (double)has:0} bytes each");
            foreach (var (what, type, query) in Searches)
                Say(engine, $"{size} Observations: {what}", await Load.RunAsync(1, Seconds / 3, n => store.SearchAsync(SearchQuery.Parse(store.Parameters, type, string.Format(query, n * 31L % Filling.People, n % 37)))));
            Say(engine, $"{size} Observations: durable writes, 16 at a time", await WriteAsync(store, Callers, 1));
        }
    }

    private static Task<Load> WriteAsync(RecordStore store, int callers, int size) => Load.RunAsync(callers, Seconds, n => store.CommitAsync(Filling.Set(size, n * size)));

    private static void Say(BenchmarkEngine engine, string what, Load load) => Console.WriteLine($"{engine.Name + ": " + what,-75} {load}");
}
