using System.Globalization;
using RehabRecords.Drills;

// Does harm to a running service and counts what it had acknowledged and then lost, which must be nothing.
// "drills" lists them; a name runs one, "all" runs all; --rounds N, --seed S. Linux; some need root, strace or faketime.
if (args is ["bare-writer", var file, var synchronous])
{
    PowerLoss.Write(file, synchronous);
    return 0;
}

Drill[] drills =
[
    new("kill", "kill -9 in a burst of transactions", 50, 3, Ends.KillAsync),
    new("pause", "stopped and let go on", 5, 1, Ends.PauseAsync),
    new("import", "import killed half-way", 10, 2, Ends.ImportAsync),
    new("power", "power cut, from recorded writes", 600, 60, PowerLoss.ServiceAsync),
    new("power-control", "the same with a writer that syncs less", 600, 60, PowerLoss.ControlAsync),
    new("disk-full", "no room on the disk", 2, 1, Disks.FullAsync),
    new("sync-fails", "a sync of the disk fails", 5, 1, Disks.SyncFailsAsync),
    new("create-race", "conditional creates at once", 500, 20, Races.CreateAsync),
    new("update-race", "updates of one resource at once", 50, 10, Races.UpdateAsync),
    new("repeat", "one post ten times at once", 20, 5, Races.RepeatAsync),
    new("clock", "the clock is set", 20, 4, Clocks.StepAsync),
    new("huge", "bodies without end", 1, 1, Clients.HugeAsync),
    new("slow", "connections that trickle", 500, 100, Clients.SlowAsync),
];
if (args.Length == 0 || (args[0] is not ("all" or "few") && !drills.Any(d => d.Name == args[0])))
{
    Console.WriteLine("drills: all, few, or one of");
    foreach (var drill in drills)
        Console.WriteLine($"  {drill.Name,-14} {drill.Fault} ({drill.Rounds} rounds)");
    return args.Length == 0 ? 0 : 1;
}

var seed = int.Parse(Option("--seed") ?? "1", CultureInfo.InvariantCulture);
var (held, failed) = (0, 0);
foreach (var drill in drills.Where(d => args[0] is "all" or "few" || d.Name == args[0]))
{
    var finding = await drill.RunAsync(Option("--rounds") is { } rounds ? int.Parse(rounds, CultureInfo.InvariantCulture) : args[0] == "few" ? drill.Few : drill.Rounds, seed);
    Console.WriteLine($"{(finding.Passed ? "held" : "FAILED"),-7}{drill.Name}: {finding.Fault}; {finding.Rounds} rounds, {finding.Acknowledged} acknowledged, {finding.Lost} lost; {finding.Remark}");
    _ = finding.Passed ? held++ : failed++;
}

Console.WriteLine($"drills: {held} held, {failed} failed");
return failed == 0 ? 0 : 1;

string? Option(string name) => Array.IndexOf(args, name) is >= 0 and var at && at + 1 < args.Length ? args[at + 1] : null;
