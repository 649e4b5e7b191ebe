using RehabRecords.Benchmarks;

// Prints figures of the running service. Machines are noisy: compare figures of one run with each other, not with another day's.
var root = FindRoot();
var assembly = Path.Combine(root, "artifacts/bin/RehabRecords/release/RehabRecords.dll");
if (!File.Exists(assembly))
{
    Console.Error.WriteLine("Build the service first: dotnet build -c Release");
    return 1;
}

switch (args)
{
    case ["clinical", ..]:
        Evaluation.Run(args.Length > 1 ? int.Parse(args[1]) : 20);
        return 0;
    case ["validation", ..]:
        await ValidationSpeed.RunAsync(args[1..], root);
        return 0;
    case ["store", ..]:
        await StoreSpeed.RunAsync(args[1..], root);
        return 0;
    case ["pages", ..]:
        await PageSpeed.RunAsync(args[1..], root);
        return 0;
    case ["exchange", ..]:
        return await ExchangeTable.PrintAsync(assembly);
    case ["export", ..]:
        await Exports.RunAsync(assembly, args.Length > 1 ? args[1..].Select(int.Parse) : [2_000, 20_000, 60_000]);
        return 0;
    case ["search", ..]:
        await SearchSpeed.RunAsync(assembly, root, args.Length > 1 ? args[1..].Select(int.Parse) : [100_000]);
        return 0;
    case ["programme", ..]:
        await LongProgramme.RunAsync(assembly, root, args.Length > 1 ? args[1..].Select(int.Parse) : [20, 100, 500]);
        return 0;
    case ["audit", ..]:
        await AuditCost.RunAsync(args[1..], assembly);
        return 0;
    case ["fairness", ..]:
        await Fairness.RunAsync(args[1..], assembly, root);
        return 0;
    case ["soak", ..]:
        await Soak.RunAsync(assembly, root, args.Length > 1 ? double.Parse(args[1]) : 30);
        return 0;
    case ["bare-answer", ..]:
        await BareAnswer.RunAsync(args[1..], await File.ReadAllBytesAsync(Path.Combine(root, "tests/RehabRecords.Benchmarks/observation.json")));
        return 0;
    default:
        await new RatioTable(root, args.Length > 0 ? double.Parse(args[0]) : 10, args.Length > 1 ? int.Parse(args[1]) : 100_000).RunAsync();
        return 0;
}

static string FindRoot()
{
    for (var folder = new DirectoryInfo(AppContext.BaseDirectory); folder is not null; folder = folder.Parent)
        if (File.Exists(Path.Combine(folder.FullName, "RehabRecords.sln")))
            return folder.FullName;
    throw new InvalidOperationException("Run this from a checkout.");
}
