namespace RehabRecords.RecordExport;

/// <summary>What is wrong, up to as many as a person can use.</summary>
internal sealed class ProblemList
{
    private const int Most = 200;

    /// <summary>Whatever a stranger's zip holds, it does not fill the screen of whoever checks it.</summary>
    private const int MostCharacters = 1000;

    private readonly List<string> _all = [];

    public IReadOnlyList<string> All => _all;

    /// <summary>False once there are enough.</summary>
    public bool Add(string problem)
    {
        if (_all.Count < Most)
            _all.Add(problem.Length <= MostCharacters ? problem : problem[..MostCharacters] + "…");
        else if (_all.Count == Most)
            _all.Add($"There are more than these {Most}.");
        return _all.Count <= Most;
    }
}
