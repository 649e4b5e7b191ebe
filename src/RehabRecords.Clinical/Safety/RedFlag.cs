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

/// <summary>A red flag of the catalogue.</summary>
/// <param name="Code">Code of the red-flag system.</param>
/// <param name="Title">Name in plain words.</param>
/// <param name="Urgency">How soon.</param>
/// <param name="Text">What to do, deferring to local policy.</param>
/// <param name="Freezes">Whether it freezes progression until a clinician clears it.</param>
/// <param name="Source">Source.</param>
public sealed record RedFlag(string Code, string Title, Urgency Urgency, string Text, bool Freezes, Source Source)
{
    /// <summary>Reported harm that raises the flag.</summary>
    public IReadOnlyList<HarmOfFlag> Harms { get; init; } = [];
}

/// <summary>Reported harm that raises a flag.</summary>
/// <param name="Kind">Kind of harm.</param>
/// <param name="Severities">Severities that raise it.</param>
public sealed record HarmOfFlag(string Kind, IReadOnlyList<string> Severities);

/// <summary>A red flag found in a session.</summary>
/// <param name="Flag">The flag.</param>
/// <param name="Since">When the session was; for a missed one, when it was reported.</param>
/// <param name="Reason">What raised it ("ticked by the reporter", "pain during 7, above the limit of 5").</param>
/// <param name="Evidence">Addresses of session, result or harm report.</param>
public sealed record RaisedFlag(RedFlag Flag, DateTimeOffset Since, string Reason, IReadOnlyList<string> Evidence);
