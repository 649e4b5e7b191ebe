namespace RehabRecords.Drills;

/// <summary>What a drill found.</summary>
/// <param name="Rounds">How often the fault was made.</param>
/// <param name="Acknowledged">Writes the service said it had stored.</param>
/// <param name="Lost">Of these, how many were not there afterwards. Must be 0, whatever else is.</param>
/// <param name="Remark">What else was measured, in a few words.</param>
internal sealed record Finding(string Fault, int Rounds, long Acknowledged, long Lost, string Remark, bool Passed);

/// <summary>A drill: its name on the command line, what it does to the service, and how often: when nothing else is said, and when there is little time (0: not at all then).</summary>
/// <param name="On">By which engine it can be done.</param>
internal sealed record Drill(string Name, string Fault, int Rounds, int Few, Engines On, Func<int, int, Task<Finding>> RunAsync);

[Flags]
internal enum Engines
{
    Sqlite = 1,
    Postgresql = 2,
    Both = 3,
}
