using System.Diagnostics;
using System.IO.MemoryMappedFiles;

namespace RehabRecords.Fuzz;

/// <summary>Runs cases of some targets one after the other until the time is over, with a limit of time on each.</summary>
internal sealed class Runner(string name, IReadOnlyList<Target> targets, int seed, long from, string folder, Func<bool> serviceRuns)
{
    // A case takes milliseconds. On a machine that others use it may wait long for its turn, but not as long as this.
    private static readonly TimeSpan Limit = TimeSpan.FromSeconds(30);
    private const int MostFailures = 50;

    private readonly Dictionary<string, long> _cases = targets.ToDictionary(t => t.Name, _ => 0L);
    private readonly List<string> _failures = [];
    private TimeSpan _slowest;

    public IReadOnlyDictionary<string, long> Cases => _cases;

    public IReadOnlyList<string> Failures => _failures;

    public TimeSpan Slowest => _slowest;

    /// <summary>On a thread with the stack a request has, since a stack that overflows ends the process.</summary>
    public Task RunAsync(TimeSpan time)
    {
        var done = new TaskCompletionSource();
        new Thread(() =>
        {
            try
            {
                Run(time);
                done.SetResult();
            }
#pragma warning disable CA1031 // Told by whoever waits for it.
            catch (Exception e)
#pragma warning restore CA1031
            {
                done.SetException(e);
            }
        }, 1_536 * 1024)
        { IsBackground = true, Name = name }.Start();
        return done.Task;
    }

    private void Run(TimeSpan time)
    {
        var chosen = targets.SelectMany(t => Enumerable.Repeat(t, t.Weight)).ToList();
        // Kept by the system even if this process ends in the middle of a case.
        var last = Path.Combine(folder, $"last-{name}.bin");
        using var map = MemoryMappedFile.CreateFromFile(last, FileMode.Create, null, 2 << 20);
        using var kept = map.CreateViewAccessor();
        var began = Stopwatch.GetTimestamp();
        for (var number = from; Stopwatch.GetElapsedTime(began) < time && _failures.Count < MostFailures; number++)
        {
            var target = chosen[(int)(number * 7919 % chosen.Count)];
            var chance = new Chance(seed, target.Name, number);
            var input = target.Make(chance);
            kept.Write(0, input.Length);
            kept.WriteArray(4, input, 0, Math.Min(input.Length, (2 << 20) - 4));
            Case(target, number, input, chance);
            _cases[target.Name]++;
            if (!serviceRuns())
                break;
        }
    }

    private void Case(Target target, long number, byte[] input, Chance chance)
    {
        var start = Stopwatch.GetTimestamp();
        string? problem;
        using (var watch = new Timer(_ => Hangs(target, number, input), null, Limit, Timeout.InfiniteTimeSpan))
        {
            try
            {
                problem = target.RunAsync(input, chance).GetAwaiter().GetResult();
            }
#pragma warning disable CA1031 // Whatever is thrown here is what is looked for.
            catch (Exception e)
#pragma warning restore CA1031
            {
                problem = e.ToString();
            }
        }

        var took = Stopwatch.GetElapsedTime(start);
        if (took > _slowest)
            _slowest = took;
        problem ??= took > Limit ? $"took {took.TotalSeconds:0} s" : null;
        if (problem is not null)
            Keep(target, number, input, problem);
    }

    private void Hangs(Target target, long number, byte[] input)
    {
        Keep(target, number, input, $"does not end within {Limit.TotalSeconds:0} s");
        // Whether it ends later or never: a minute more, and the run is over.
        Thread.Sleep(TimeSpan.FromMinutes(1));
    }

    private void Keep(Target target, long number, byte[] input, string problem)
    {
        lock (_failures)
        {
            var file = Path.Combine(folder, $"{target.Name}-{seed}-{number}.bin");
            File.WriteAllBytes(file, input);
            File.WriteAllText(file + ".txt", problem);
            _failures.Add(file);
            Console.Error.WriteLine($"{target.Name} case {number} of seed {seed}: {problem.Split('\n')[0]} (input kept in {file})");
        }
    }
}
