namespace RehabRecords.RecordExport;

/// <summary>What is wrong, up to as many as a person can use.</summary>
internal sealed class ProblemList
{
    private const int Most = 200;
    private readonly List<string> _all = [];

    public IReadOnlyList<string> All => _all;

    /// <summary>False once there are enough.</summary>
    public bool Add(string problem)
    {
        if (_all.Count < Most)
            _all.Add(problem);
        else if (_all.Count == Most)
            _all.Add($"There are more than these {Most}.");
        return _all.Count <= Most;
    }
}
