using System.Diagnostics;
using System.Reflection;
using System.Text;
using Firely.Fhir.Validation;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Hl7.Fhir.Specification.Source;
using Hl7.Fhir.Specification.Terminology;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Benchmarks;

/// <summary>
/// Compares our reading and validation with the stock set-up of the same libraries (ZipSource, CachedResolver, SnapshotSource,
/// Validator) on the valid examples of the checkout, in the same run. Ours does more: the checks of its own, and a reader
/// that refuses what the stock one lets pass.
/// </summary>
internal static class ValidationSpeed
{
    public static async Task RunAsync(string[] args, string root)
    {
        var bodies = Bodies(root);
        if (args is ["cold", var which])
        {
            Console.WriteLine(Cold(which == "ours" ? Ours(root) : Stock(root), bodies));
            return;
        }

        var warmOnly = args is ["warm", ..];
        var seconds = args.Length > (warmOnly ? 1 : 0) ? int.Parse(args[^1]) : 20;
        Console.WriteLine($"{Environment.ProcessorCount} cores; {bodies.Count} examples, {bodies.Sum(b => b.Length) / bodies.Count} bytes on average; figures per second of one core's processor time");
        // A process each, since whoever goes second finds the library's code compiled. The stock set-up unpacks its zip in the first.
        if (!warmOnly)
            await ColdAsync("stock");
        foreach (var one in warmOnly ? [] : new[] { "ours", "stock", "ours", "stock", "ours", "stock" })
            Console.WriteLine($"cold {one}: {await ColdAsync(one)}");

        var (ours, stock) = (Ours(root)(), Stock(root)());
        var read = bodies.ConvertAll(b => ResourceReader.Read(b, FhirFormat.Json));
        Warm("warming up", ours, stock, bodies, read, seconds / 4.0, print: false);
        Warm("validate", ours with { Read = null }, stock with { Read = null }, bodies, read, seconds / 2.0, print: true);
        Warm("read and validate", ours, stock, bodies, read, seconds / 2.0, print: true);
        Kinds(ours, stock, read, seconds / 4.0);
    }

    private sealed record SetUp(Func<byte[], Resource>? Read, Func<Resource, bool> Validate);

    private static Func<SetUp> Ours(string root) => () =>
    {
        _ = ExpressionLimits.Apply();
        var validator = ResourceValidator.Create(DefinitionsPack.Open(Path.Combine(root, "artifacts/bin/RehabRecords/release", DefinitionsPack.FileName)));
        return new(b => ResourceReader.Read(b, FhirFormat.Json), r => !validator.Validate(r).Any(i => i.Refuses));
    };

    private static Func<SetUp> Stock(string root) => () =>
    {
        var profiles = Directory.EnumerateFiles(Path.Combine(root, "profiles"), "*.json").Select(f => FhirJsonDeserializer.SYNTAXONLY.DeserializeResource(File.ReadAllText(f)));
        var zipFile = typeof(ValidationSpeed).Assembly.GetCustomAttributes<AssemblyMetadataAttribute>().Single(a => a.Key == "SpecificationZip").Value!;
        var unpacked = Directory.CreateDirectory(Path.Combine(root, "artifacts/benchmarks/specification")).FullName;
        var zip = new CachedResolver(new ZipSource(zipFile, unpacked));
        var all = new CachedResolver(new SnapshotSource(new CachedResolver(new MultiResolver(new InMemoryResourceResolver(profiles.ToArray()), zip))));
        var validator = new Validator(all, new LocalTerminologyService(all), null, new ValidationSettings());
        return new(b => FhirJsonDeserializer.STRICT.DeserializeResource(Encoding.UTF8.GetString(b)), r => validator.Validate(r).Success);
    };

    private static string Cold(Func<SetUp> make, List<byte[]> bodies)
    {
        var began = Stopwatch.GetTimestamp();
        var setUp = make();
        Check(setUp, bodies[0]);
        var first = Stopwatch.GetElapsedTime(began).TotalSeconds;
        foreach (var body in bodies)
            Check(setUp, body);
        return $"first validation after {first:0.00} s, each of the {bodies.Count} examples once after {Stopwatch.GetElapsedTime(began).TotalSeconds:0.00} s, processor {Environment.CpuUsage.TotalTime.TotalSeconds:0.00} s";
    }

    private static void Check(SetUp setUp, byte[] body)
    {
        if (!setUp.Validate(setUp.Read!(body)))
            throw new InvalidOperationException("An example is not valid: " + Encoding.UTF8.GetString(body)[..80]);
    }

    internal static async Task<string> ColdAsync(string which)
    {
        using var process = Process.Start(new ProcessStartInfo("dotnet", [typeof(ValidationSpeed).Assembly.Location, "validation", "cold", which]) { RedirectStandardOutput = true })!;
        var said = await process.StandardOutput.ReadToEndAsync();
        await process.WaitForExitAsync();
        return process.ExitCode == 0 ? said.Trim() : throw new InvalidOperationException($"The cold run of {which} failed.");
    }

    private static void Warm(string what, SetUp ours, SetUp stock, List<byte[]> bodies, List<Resource> read, double seconds, bool print)
    {
        // In turns, so that what else the machine does falls on both.
        double ourRate = 0, stockRate = 0;
        for (var turn = 0; turn < 4; turn++)
        {
            ourRate += Rate(ours, bodies, read, seconds / 8) / 4;
            stockRate += Rate(stock, bodies, read, seconds / 8) / 4;
        }

        if (print)
            Console.WriteLine($"{what}: ours {ourRate:0}/s, stock {stockRate:0}/s, ratio {ourRate / stockRate:0.00}");
    }

    private static void Kinds(SetUp ours, SetUp stock, List<Resource> read, double seconds)
    {
        var kinds = read.GroupBy(r => r.TypeName).OrderBy(g => g.Key, StringComparer.Ordinal).ToList();
        foreach (var kind in kinds)
        {
            var one = kind.Take(1).ToList();
            var (a, b) = (Rate(ours with { Read = null }, [], one, seconds / kinds.Count / 2), Rate(stock with { Read = null }, [], one, seconds / kinds.Count / 2));
            Console.WriteLine($"  {kind.Key}: ours {1000 / a:0.00} ms, stock {1000 / b:0.00} ms");
        }
    }

    private static double Rate(SetUp setUp, List<byte[]> bodies, List<Resource> read, double seconds)
    {
        var began = Stopwatch.GetTimestamp();
        var cpu = Environment.CpuUsage.TotalTime;
        var count = 0;
        while (Stopwatch.GetElapsedTime(began).TotalSeconds < seconds)
        {
            if (setUp.Read is null)
                foreach (var resource in read)
                    setUp.Validate(resource);
            else
                foreach (var body in bodies)
                    setUp.Validate(setUp.Read(body));
            count += read.Count;
        }

        return count / (Environment.CpuUsage.TotalTime - cpu).TotalSeconds;
    }

    private static List<byte[]> Bodies(string root) =>
        [.. Directory.EnumerateFiles(Path.Combine(root, "examples"), "*.json").Order(StringComparer.Ordinal).Where(f => Path.GetFileName(f).Contains('-')).Select(File.ReadAllBytes)];
}
