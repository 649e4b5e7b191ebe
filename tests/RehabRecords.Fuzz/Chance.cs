namespace RehabRecords.Fuzz;

/// <summary>The choices of one case. The same seed, target and number make the same case again.</summary>
internal sealed class Chance(int seed, string target, long number)
{
    private readonly Random _random = new(HashCode(seed, target, number));

    public int Below(int limit) => _random.Next(limit);

    public int Between(int low, int high) => _random.Next(low, high + 1);

    public bool OneIn(int times) => _random.Next(times) == 0;

    public T Of<T>(IReadOnlyList<T> choices) => choices[_random.Next(choices.Count)];

    public byte Byte() => (byte)_random.Next(256);

    // Not the runtime's, which differs from one process to the next.
    private static int HashCode(int seed, string target, long number)
    {
        var hash = 17u;
        foreach (var c in $"{seed}/{target}/{number}")
            hash = (hash * 16_777_619) ^ c;
        return (int)hash;
    }
}
