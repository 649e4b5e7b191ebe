namespace RehabRecords.Clinical;

/// <summary>How soon a red flag must be acted on, most urgent first.</summary>
public enum Urgency
{
    /// <summary>Call the emergency number now.</summary>
    Emergency,

    /// <summary>Stop and have it reviewed urgently.</summary>
    UrgentReview,

    /// <summary>Note it at the next review.</summary>
    NoteAtNextReview,
}

/// <summary>A red flag of the catalogue. It prompts; it never diagnoses.</summary>
/// <param name="Code">Code of the red-flag system.</param>
/// <param name="Title">Name in plain words.</param>
/// <param name="Urgency">How soon.</param>
/// <param name="Text">What to do, deferring to local policy.</param>
/// <param name="Freezes">Whether it freezes progression until a clinician clears it.</param>
/// <param name="Source">Source.</param>
public sealed record RedFlag(string Code, string Title, Urgency Urgency, string Text, bool Freezes, Source Source);

/// <summary>A red flag found in a session.</summary>
/// <param name="Flag">The flag.</param>
/// <param name="Since">When it was reported to have happened.</param>
/// <param name="Reason">What raised it ("ticked by the reporter", "pain during 7 is above the limit of 5").</param>
/// <param name="Evidence">Addresses of session, result or harm report.</param>
public sealed record RaisedFlag(RedFlag Flag, DateTimeOffset Since, string Reason, IReadOnlyList<string> Evidence);

/// <summary>Looks for red flags in what was reported.</summary>
public static class SafetyScreen
{
    /// <summary>All red flags of the catalogue, most urgent first.</summary>
    public static IReadOnlyList<RedFlag> Catalogue => throw new NotImplementedException();

    /// <summary>A red flag by code.</summary>
    /// <exception cref="UnfitInputException">The catalogue has no such code.</exception>
    public static RedFlag Get(string code) => throw new NotImplementedException();

    /// <summary>Red flags of one session, most urgent first, each code once.</summary>
    /// <param name="session">The session.</param>
    /// <param name="painLimit">Pain limit of the programme, 0 to 10; pain above it raises a flag.</param>
    public static IReadOnlyList<RaisedFlag> Of(SessionReport session, int painLimit) => throw new NotImplementedException();
}
