using System.Diagnostics;
using System.IO.Compression;
using System.Security.Cryptography;
using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Benchmarks;

/// <summary>
/// How fast a record and a whole store leave the service over HTTP, against reading the same rows from the same file, and what memory the
/// service takes for it.
/// </summary>
internal static class Exports
{
    private const int Repeats = 5;

    /// <summary>Calls before the measurement: the first dozens spend more on compiling the service than on the export.</summary>
    private const int WarmUp = 40;
    private const string Person = "person";
    private static readonly SnapshotScope All = new(OfPeople: false, Since: null);

    public static async System.Threading.Tasks.Task RunAsync(string assembly, IEnumerable<int> sizes)
    {
        foreach (var size in sizes)
        {
            var folder = Directory.CreateTempSubdirectory("rehabrecords-bench-").FullName;
            try
            {
                await MeasureAsync(assembly, folder, size);
            }
            finally
            {
                if (Directory.Exists(folder))
                    Directory.Delete(folder, recursive: true);
            }
        }
    }

    private static async System.Threading.Tasks.Task MeasureAsync(string assembly, string folder, int size)
    {
        double record, rows, bytes, processor;
        await using (var store = await OpenAsync(assembly, folder))
        {
            var began = Stopwatch.GetTimestamp();
            await store.RestoreAsync(Versions(size));
            var filled = Stopwatch.GetElapsedTime(began).TotalSeconds;
            var start = Process.GetCurrentProcess().TotalProcessorTime;
            (bytes, record) = await MedianAsync(async () =>
            {
                using var snapshot = await store.SnapshotAsync();
                var person = snapshot.OfPerson(Person)!;
                return person.Types(referred: false).Sum(t => person.Of(t.Type, referred: false).Sum(v => (double)v.Json.Length));
            });
            processor = (Process.GetCurrentProcess().TotalProcessorTime - start).TotalSeconds / (Repeats + 1);
            (_, rows) = await MedianAsync(async () =>
            {
                using var snapshot = await store.SnapshotAsync();
                return ResourceRegistry.Standard.Kinds.Sum(k => snapshot.Current(k.Type, All).Sum(v => (double)v.Json.Length));
            });
            Console.WriteLine($"{size} resources, {bytes / 1e6:0.0} MB; restored at {size / filled:0} resources/s");
        }

        Console.WriteLine($"  reading the rows of the record: {bytes / 1e6 / record:0} MB/s; of the whole store: {bytes / 1e6 / rows:0} MB/s (median of {Repeats}); {bytes / 1e6 / processor:0} MB per second of processor time");
        await using (var store = await OpenAsync(assembly, folder))
            await PackingAsync(store);
        await using var service = RunningService.On(folder, assembly);
        await service.UntilReadyAsync();
        var idle = service.PeakMegabytes;
        for (var i = 0; i < WarmUp; i++)
            await LengthAsync(service.Http, $"/api/people/{Person}/record");
        var before = service.ProcessorTime;
        var (zipped, seconds) = await MedianAsync(() => LengthAsync(service.Http, $"/api/people/{Person}/record"));
        var work = (service.ProcessorTime - before).TotalSeconds / (Repeats + 1);
        Console.WriteLine($"  record as zip over HTTP: {bytes / 1e6 / seconds:0} MB/s ({100 * record / seconds:0} % of reading), {zipped / 1e6:0.0} MB zipped, 1:{bytes / zipped:0.0}; {bytes / 1e6 / work:0} MB per second of processor time");
        var times = new List<double>();
        for (var i = 0; i < (WarmUp / 2) + Repeats; i++)
            times.Add(await BulkAsync(service.Http, folder));
        var made = times.Skip(WarmUp / 2).Order().ElementAt(Repeats / 2);
        Console.WriteLine($"  bulk export made: {bytes / 1e6 / made:0} MB/s ({100 * rows / made:0} % of reading)");
        Console.WriteLine($"  peak memory of the service: {idle} MB when ready, {service.PeakMegabytes} MB after all exports");
    }

    /// <summary>What digest and packing cost by themselves, on one thread, against reading the same bytes from the store.</summary>
    private static async System.Threading.Tasks.Task PackingAsync(RecordStore store)
    {
        const int Most = 32_000_000;
        using var sample = new MemoryStream();
        var (_, read) = await MedianAsync(async () =>
        {
            sample.SetLength(0);
            using var snapshot = await store.SnapshotAsync();
            foreach (var version in snapshot.Current("Observation", All).TakeWhile(_ => sample.Length < Most))
            {
                sample.Write(version.Json.Span);
                sample.WriteByte((byte)'\n');
            }

            return sample.Length;
        });
        var bytes = sample.ToArray();
        var (_, digest) = await MedianAsync(() => System.Threading.Tasks.Task.FromResult((double)SHA256.HashData(bytes)[0]));
        var packed = new List<string> { $"digest {100 * read / digest:0} % of the speed of reading" };
        foreach (var level in new[] { CompressionLevel.NoCompression, CompressionLevel.Fastest, CompressionLevel.Optimal })
        {
            var (length, seconds) = await MedianAsync(() =>
            {
                using var to = new MemoryStream(bytes.Length / 4);
                using (var deflate = new DeflateStream(to, level, leaveOpen: true))
                    for (var at = 0; at < bytes.Length; at += 64 * 1024)
                        deflate.Write(bytes.AsSpan(at, Math.Min(64 * 1024, bytes.Length - at)));
                return System.Threading.Tasks.Task.FromResult((double)to.Length);
            });
            packed.Add($"deflate {level} {100 * read / seconds:0} %, 1:{bytes.Length / length:0.0}");
        }

        Console.WriteLine("  " + string.Join("; ", packed));
    }

    private static async Task<RecordStore> OpenAsync(string assembly, string folder)
    {
        var pack = DefinitionsPack.Open(Path.Combine(Path.GetDirectoryName(assembly)!, "definitions.ndjson"));
        return await RecordStore.OpenSqliteAsync(folder, new SearchIndexer(SearchParameters.From(pack.SearchParameters(), ResourceRegistry.Standard, pack.Compartments())), TimeProvider.System);
    }

    private static async Task<(double Result, double Seconds)> MedianAsync(Func<Task<double>> measured)
    {
        var times = new List<double>();
        var result = await measured();
        for (var i = 0; i < Repeats; i++)
        {
            var began = Stopwatch.GetTimestamp();
            result = await measured();
            times.Add(Stopwatch.GetElapsedTime(began).TotalSeconds);
        }

        return (result, times.Order().ElementAt(Repeats / 2));
    }

    private static async Task<double> LengthAsync(HttpClient http, string path)
    {
        using var answer = await http.GetAsync(path, HttpCompletionOption.ResponseHeadersRead);
        answer.EnsureSuccessStatusCode();
        await using var stream = await answer.Content.ReadAsStreamAsync();
        var buffer = new byte[128 * 1024];
        double length = 0;
        for (int read; (read = await stream.ReadAsync(buffer)) > 0;)
            length += read;
        return length;
    }

    /// <summary>Seconds from the moment whose record it is to the last byte on the disk, as the service notes them: asking would be too coarse.</summary>
    private static async Task<double> BulkAsync(HttpClient http, string folder)
    {
        using var ask = new HttpRequestMessage(HttpMethod.Get, "/fhir/$export") { Headers = { { "Prefer", "respond-async" } } };
        using var asked = await http.SendAsync(ask);
        asked.EnsureSuccessStatusCode();
        var address = asked.Content.Headers.ContentLocation!;
        while (true)
        {
            using var answer = await http.GetAsync(address);
            if (answer.StatusCode == System.Net.HttpStatusCode.OK)
            {
                using var result = JsonDocument.Parse(await File.ReadAllBytesAsync(Path.Combine(folder, "exports", address.Segments[^1], "result.json")));
                using var deleted = await http.DeleteAsync(address);
                return (result.RootElement.GetProperty("finishedAt").GetDateTimeOffset() - result.RootElement.GetProperty("transactionTime").GetDateTimeOffset()).TotalSeconds;
            }

            await System.Threading.Tasks.Task.Delay(105);
        }
    }

    /// <summary>Results as sessions leave them, about 2 kB each.</summary>
    private static IEnumerable<RecordVersion> Versions(int size)
    {
        yield return Version(new Patient { Id = Person, Name = [new HumanName { Family = "Sampleton" }] });
        yield return Version(new Practitioner { Id = "physio", Name = [new HumanName { Family = "Invented" }] });
        for (var i = 0; i < size; i++)
            yield return Version(new Observation
            {
                Id = $"result-{i:000000}",
                Status = ObservationStatus.Final,
                Category = [new CodeableConcept("http://terminology.hl7.org/CodeSystem/observation-category", "therapy")],
                Code = new CodeableConcept { Text = "Clothes pegs on the rim of a bowl" },
                Subject = new ResourceReference($"Patient/{Person}"),
                Performer = [new ResourceReference("Practitioner/physio")],
                Effective = new FhirDateTime(2026, 3, 1 + (i % 28)),
                Value = new Quantity(i % 97, "kg"),
                Note = [new Annotation { Text = string.Join(' ', Enumerable.Range(i, 40).Select(n => (n * 7919L % 100_003).ToString("x"))) }],
                Component = [.. Enumerable.Range(0, 6).Select(c => new Observation.ComponentComponent { Code = new CodeableConcept("http://example.org/codes", $"part-{c}"), Value = new Quantity((i * (c + 3)) % 1009, "s") })],
            });
    }

    private static RecordVersion Version(Resource resource)
    {
        var at = new DateTimeOffset(2026, 3, 1, 0, 0, 0, TimeSpan.Zero);
        resource.Meta = new Meta { VersionId = "1", LastUpdated = at };
        return new RecordVersion(0, resource.TypeName, resource.Id!, 1, Deleted: false, at, ResourceWriter.Json(resource));
    }
}
