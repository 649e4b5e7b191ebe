using System.Diagnostics;

namespace RehabRecords.Benchmarks;

/// <summary>Memory of the service over time, under sessions, notes, pages and exports that go on and on.</summary>
internal static class Soak
{
    private const int People = 50;

    public static async Task RunAsync(string assembly, string root, double minutes)
    {
        await using var service = RunningService.Start(assembly);
        await service.UntilAsync(async http => (await http.GetAsync("/health/ready")).IsSuccessStatusCode);
        var clinic = new Clinic(service.Http, Path.Combine(root, "examples/demo"));
        await clinic.OpenAsync(People);
        for (var i = 0; i < People; i++)
            await clinic.PostSessionAsync();
        Console.WriteLine($"memory when ready and filled: {service.ResidentMegabytes} MB");
        var over = Stopwatch.StartNew();
        for (var part = 1; over.Elapsed.TotalMinutes < minutes; part++)
        {
            var load = await Load.RunAsync(4, 20, async n =>
            {
                var person = clinic.Caseload[n % People].Person;
                await clinic.PostSessionAsync();
                foreach (var address in (string[])[$"/fhir/Observation?subject=Patient/{person}&_count=20", clinic.NoteOf(person), $"/people/{person}", "/caseload", .. n % 20 == 0 ? [$"/api/people/{person}/record"] : (string[])[]])
                {
                    using var response = await service.Http.GetAsync(address);
                    response.EnsureSuccessStatusCode();
                    await response.Content.ReadAsByteArrayAsync();
                }
            });
            Console.WriteLine($"after {over.Elapsed.TotalMinutes,5:0.0} min: {service.ResidentMegabytes} MB; {load}");
        }
    }
}
