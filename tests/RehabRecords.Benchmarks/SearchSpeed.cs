using RehabRecords.Fhir.Store;

namespace RehabRecords.Benchmarks;

/// <summary>The search that is asked most, the latest 20 results of a person, over HTTP, against the size of the store.</summary>
internal static class SearchSpeed
{
    public static async Task RunAsync(string assembly, string root, IEnumerable<int> sizes)
    {
        Console.WriteLine($"{Environment.ProcessorCount} cores; of {Filling.People} people; goal 5,000/s and p99 20 ms with 16 callers");
        foreach (var engine in BenchmarkEngine.All(root, RecordStore.UsualPartitions))
        {
            var folder = Directory.CreateTempSubdirectory("rehabrecords-bench-").FullName;
            var has = 0;
            foreach (var size in sizes.Order())
            {
                await using (var store = await engine.OpenAsync(folder))
                {
                    if (has == 0)
                        await Filling.PeopleAsync(store);
                    for (; has < size; has += 200)
                        await store.CommitAsync(Filling.Set(200, has));
                }

                await using var service = RunningService.On(folder, assembly, engine.SettingsFor(folder));
                service.KeepFolder = true;
                await service.UntilReadyAsync();
                foreach (var callers in (int[])[1, 16])
                    Console.WriteLine($"{engine.Name}: {size} Observations, {callers} caller(s): {await MeasureAsync(service, callers, 5)}");
                Console.WriteLine($"{engine.Name}: memory {service.ResidentMegabytes} MB, at most {service.PeakMegabytes} MB");
            }

            await engine.DropAsync(folder);
        }
    }

    public static Task<Load> MeasureAsync(RunningService service, int callers, double seconds) => Load.RunAsync(callers, seconds, async n =>
    {
        using var response = await service.Http.GetAsync($"/fhir/Observation?subject=Patient/p{n * 31L % Filling.People}&_sort=-date&_count=20");
        response.EnsureSuccessStatusCode();
        await response.Content.ReadAsByteArrayAsync();
    });
}
