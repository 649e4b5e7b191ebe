using System.Diagnostics;
using System.Globalization;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;
using RehabRecords.Fuzz;

// Throws damaged input at the parsers in this process and at a running service beside it. It must be refused or taken: no
// exception, no answer of 500 and above, no hang, no end of either process. --minutes N, --seed S, --from C begins at that case, --file F runs a kept input again.
_ = ExpressionLimits.Apply();
var minutes = double.Parse(Option("--minutes") ?? "1", CultureInfo.InvariantCulture);
var seed = int.Parse(Option("--seed") ?? "1", CultureInfo.InvariantCulture);
var from = long.Parse(Option("--from") ?? "0", CultureInfo.InvariantCulture);
var root = FindRoot();
var folder = Directory.CreateDirectory(Path.Combine(root, "artifacts", "fuzz")).FullName;

var began = Stopwatch.GetTimestamp();
var seeds = new Seeds(root);
using var pack = DefinitionsPack.Open();
using var validator = ResourceValidator.Create(pack);
validator.WarmUp();
await using var service = await Service.StartAsync(seeds);
using var forms = await FormTarget.OpenAsync(service);
Target[] inProcess = [new BodyTarget(seeds, validator, FhirFormat.Json), new BodyTarget(seeds, validator, FhirFormat.Xml), new PackageTarget(seeds, pack), await RecordZipTarget.OpenAsync(service, seeds, pack), new TextTarget()];
Target[] overHttp = [new FhirTarget(service, seeds), new SearchTarget(service), new HeaderTarget(service, seeds), new ApiTarget(service, seeds), forms, new SocketTarget(service, seeds)];
if (Option("--file") is { } file)
{
    var name = Path.GetFileName(file).Split('-')[0];
    var problem = await inProcess.Concat(overHttp).Single(t => t.Name == name).RunAsync(await File.ReadAllBytesAsync(file), new Chance(seed, name, 0));
    Console.WriteLine(problem ?? "nothing wrong");
    return problem is null ? 0 : 1;
}

Console.WriteLine($"fuzzing for {minutes} min with seed {seed}: {seeds.Json.Count} JSON and {seeds.Xml.Count} XML seeds{(seeds.HasOfficialCases ? " with the official cases" : "; the official cases are not here")}, {service.Existing.Count} resources stored");
Runner[] runners = [new("parsers", inProcess, seed, from, folder, () => true), new("requests", overHttp, seed, from, folder, () => service.Runs)];
var fuzzing = Stopwatch.GetTimestamp();
var runs = Task.WhenAll(runners.Select(r => r.RunAsync(TimeSpan.FromMinutes(minutes))));
while (await Task.WhenAny(runs, Task.Delay(TimeSpan.FromMinutes(1))) != runs)
    Console.WriteLine($"{Stopwatch.GetElapsedTime(fuzzing).TotalMinutes:0} min: {Cases()} cases, {Failures()} failures");
await runs;
if (!service.Runs)
    Console.Error.WriteLine("The service ended. Its last words: " + service.LastWords);

var took = Stopwatch.GetElapsedTime(fuzzing).TotalSeconds;
foreach (var (target, cases) in runners.SelectMany(r => r.Cases))
    Console.WriteLine($"{target}: {cases} cases, {cases / took:0.0}/s{(Ends(target) is { Length: > 0 } ends ? $"; answered {ends}" : "")}");
Console.WriteLine($"slowest case: {string.Join(", ", runners.Select(r => $"{r.Slowest.TotalMilliseconds:0} ms"))}; started in {Stopwatch.GetElapsedTime(began, fuzzing).TotalSeconds:0.0} s");
var sound = service.Runs && runners.All(r => r.Failures.Count == 0) && runners.All(r => r.Cases.Values.All(c => c > 0));
Console.WriteLine($"fuzz: {Cases()} cases in {took:0} s, {Cases() / took:0} cases/s, {Failures()} failures");
return sound ? 0 : 1;

long Cases() => runners.Sum(r => r.Cases.Values.Sum());

string Ends(string target) => inProcess.Concat(overHttp).Single(t => t.Name == target).Ends;

int Failures() => runners.Sum(r => r.Failures.Count);

string? Option(string name) => Array.IndexOf(args, name) is >= 0 and var at && at + 1 < args.Length ? args[at + 1] : null;

static string FindRoot()
{
    for (var folder = new DirectoryInfo(AppContext.BaseDirectory); folder is not null; folder = folder.Parent)
        if (File.Exists(Path.Combine(folder.FullName, "RehabRecords.sln")))
            return folder.FullName;
    throw new InvalidOperationException("Run this from a checkout.");
}
