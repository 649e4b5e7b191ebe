using System.Diagnostics;

namespace RehabRecords.Benchmarks;

/// <summary>
/// Memory of the service over time, under sessions, notes, pages and exports that go on and on. Who has had as many sessions as a programme
/// of some weeks has is followed by somebody new: else records would grow without end, and with them whatever is asked of them.
/// </summary>
internal static class Soak
{
    private const int People = 50;
    private const int SessionsEach = 40;

    public static async Task RunAsync(string assembly, string root, double minutes)
    {
        await using var service = RunningService.Start(assembly);
        await service.UntilReadyAsync();
        var clinic = new Clinic(service.Http, Path.Combine(root, "examples/demo"));
        Console.WriteLine($"memory when ready: {service.ResidentMegabytes} MB");
        var over = Stopwatch.StartNew();
        var first = -People;
        var posted = People * SessionsEach;
        while (over.Elapsed.TotalMinutes < minutes)
        {
            if (posted >= People * SessionsEach)
            {
                (first, posted) = (first + People, 0);
                await clinic.OpenAsync(People);
                for (var i = 0; i < People; i++)
                    await clinic.PostSessionAsync(first + i);
            }

            var load = await Load.RunAsync(4, 20, async n =>
            {
                var which = first + (n % People);
                var person = clinic.Caseload[which].Person;
                await clinic.PostSessionAsync(which);
                Interlocked.Increment(ref posted);
                foreach (var address in (string[])[$"/fhir/Observation?subject=Patient/{person}&_count=20", clinic.NoteOf(person), $"/people/{person}", "/caseload", .. n % 20 == 0 ? [$"/api/people/{person}/record"] : (string[])[]])
                {
                    using var response = await service.Http.GetAsync(address);
                    response.EnsureSuccessStatusCode();
                    await response.Content.ReadAsByteArrayAsync();
                }
            });
            Console.WriteLine($"after {over.Elapsed.TotalMinutes,5:0.0} min: {service.ResidentMegabytes} MB; {load}; {first + People} people so far");
        }
    }
}
