using System.Diagnostics;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Benchmarks;

/// <summary>What a session and its draft take as the programme of one person grows: the draft is computed from all of it.</summary>
internal static class LongProgramme
{
    private const int Others = 19;
    private const int Timed = 20;

    public static async Task RunAsync(string assembly, string root, IEnumerable<int> sizes)
    {
        Console.WriteLine($"{Environment.ProcessorCount} cores; one caller; {Timed} sessions from each size on");
        foreach (var engine in BenchmarkEngine.All(root, RecordStore.UsualPartitions))
        {
            var folder = Directory.CreateTempSubdirectory("rehabrecords-bench-").FullName;
            await using (var service = RunningService.On(folder, assembly, engine.SettingsFor(folder)))
            {
                service.KeepFolder = true;
                await service.UntilReadyAsync();
                var clinic = new Clinic(service.Http, Path.Combine(root, "examples/demo"));
                await clinic.OpenAsync(Others + 1);
                await Load.RunAsync(1, 5, n => clinic.PostSessionAsync(1 + (n % Others)));
                var has = 0;
                foreach (var size in sizes.Order())
                {
                    for (; has < size; has++)
                        await clinic.PostSessionAsync(0);
                    var times = new List<double>();
                    for (var i = 0; i < Timed; i++, has++)
                    {
                        var began = Stopwatch.GetTimestamp();
                        await clinic.PostSessionAsync(0);
                        times.Add(Stopwatch.GetElapsedTime(began).TotalMilliseconds);
                    }

                    Console.WriteLine($"{engine.Name}: after {size} sessions p50 {times.Order().ElementAt(Timed / 2):0.0} ms; memory {service.ResidentMegabytes} MB");
                }
            }

            await engine.DropAsync(folder);
        }
    }
}
