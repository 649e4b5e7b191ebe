using System.Globalization;
using RehabRecords.Drills;

// Does harm to a running service and counts what it had acknowledged and then lost, which must be nothing.
// "drills" lists them; a name runs one, "all" runs all; --rounds N, --seed S, --engine sqlite|postgresql (the
// latter on the server that "tests/postgres with" starts). Linux; some need root, strace or faketime.
if (args is ["bare-writer", var file, var synchronous])
{
    PowerLoss.Write(file, synchronous);
    return 0;
}

Drill[] drills =
[
    new("kill", "kill -9 in a burst of transactions", 50, 3, Engines.Both, Ends.KillAsync),
    new("pause", "stopped and let go on", 5, 1, Engines.Both, Ends.PauseAsync),
    new("import", "import killed half-way", 10, 2, Engines.Both, Ends.ImportAsync),
    new("memory", "less memory than asked for", 3, 1, Engines.Both, Ends.MemoryAsync),
    new("power", "power cut, from recorded writes", 600, 60, Engines.Sqlite, PowerLoss.ServiceAsync),
    new("power-control", "the same with a writer that syncs less", 600, 60, Engines.Sqlite, PowerLoss.ControlAsync),
    new("disk-full", "no room on the disk", 2, 1, Engines.Sqlite, Disks.FullAsync),
    new("sync-fails", "a sync of the disk fails", 5, 1, Engines.Sqlite, Disks.SyncFailsAsync),
    new("create-race", "conditional creates at once", 500, 20, Engines.Both, Races.CreateAsync),
    new("update-race", "updates of one resource at once", 50, 10, Engines.Both, Races.UpdateAsync),
    new("repeat", "one post ten times at once", 20, 5, Engines.Both, Races.RepeatAsync),
    // The clock that is set is that of the process, and the connection to a server does not survive that.
    new("clock", "the clock is set", 20, 4, Engines.Sqlite, Clocks.StepAsync),
    new("restart", "the database restarted under load", 9, 3, Engines.Postgresql, Servers.RestartAsync),
    new("rot", "a stored version changed by a bit", 10, 1, Engines.Both, Rot.BitAsync),
    new("upgrade-killed", "killed while an older store is brought up to date", 20, 1, Engines.Both, Upgrades.KilledAsync),
    new("start-at-once", "instances start at one moment", 10, 3, Engines.Both, Upgrades.AtOnceAsync),
    new("server-full", "the database's disk full", 4, 0, Engines.Postgresql, ServerFaults.FullAsync),
    new("silence", "the line to the database silent", 4, 0, Engines.Postgresql, ServerFaults.SilenceAsync),
    new("promoted", "primary killed, standby promoted", 10, 1, Engines.Postgresql, ServerFaults.PromotedAsync),
    new("huge", "bodies without end", 1, 1, Engines.Sqlite, Clients.HugeAsync),
    new("slow", "connections that trickle", 500, 100, Engines.Sqlite, Clients.SlowAsync),
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
var engine = Option("--engine") switch
{
    null or "sqlite" => Engines.Sqlite,
    "postgresql" => Engines.Postgresql,
    var other => throw new ArgumentException($"--engine is '{other}'; it may be sqlite or postgresql."),
};
Backend.OnServer = engine == Engines.Postgresql;
foreach (var drill in drills.Where(d => d.On.HasFlag(engine) && (args[0] == "all" || (args[0] == "few" && d.Few > 0) || d.Name == args[0])))
{
    var finding = await drill.RunAsync(Option("--rounds") is { } rounds ? int.Parse(rounds, CultureInfo.InvariantCulture) : args[0] == "few" ? drill.Few : drill.Rounds, seed);
    Console.WriteLine($"{(finding.Passed ? "held" : "FAILED"),-7}{drill.Name}: {finding.Fault}; {finding.Rounds} rounds, {finding.Acknowledged} acknowledged, {finding.Lost} lost; {finding.Remark}");
    _ = finding.Passed ? held++ : failed++;
}

Console.WriteLine($"drills: {held} held, {failed} failed");
return failed == 0 ? 0 : 1;

string? Option(string name) => Array.IndexOf(args, name) is >= 0 and var at && at + 1 < args.Length ? args[at + 1] : null;
