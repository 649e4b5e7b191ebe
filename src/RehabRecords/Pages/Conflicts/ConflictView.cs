using RehabRecords.Pages.You;

namespace RehabRecords.Pages.Conflicts;

/// <summary>A conflict with another team: both sides of what differs, and what was decided where it is decided.</summary>
/// <param name="Sender">Where theirs comes from.</param>
/// <param name="Received">When it came in.</param>
/// <param name="Original">Address of the document as it came in, byte for byte.</param>
public sealed record ConflictView(string Id, string Person, string PersonName, string Sender, DateTimeOffset? Received, string Original)
{
    /// <summary>What was decided and by whom, in sentences; empty while it is open.</summary>
    public IReadOnlyList<string>? Decided { get; init; }

    /// <summary>Which versions of ours are shown.</summary>
    public string? State { get; init; }

    public IReadOnlyList<DifferingThing> Things { get; init; } = [];

    /// <summary>Decisions of clinicians that the other side does not know.</summary>
    public IReadOnlyList<string> DecidedHere { get; init; } = [];

    public IReadOnlyList<string> DecidedThere { get; init; } = [];

    /// <summary>What is taken in with the decision, in words: "1 session and 3 results".</summary>
    public string? Waiting { get; init; }

    public Who? Who { get; init; }

    public bool MayDecide { get; init; } = true;

    public string? Choice { get; init; }

    public string? Reason { get; init; }

    public IReadOnlyList<string> Faults { get; init; } = [];

    public string Address => $"{ConflictEndpoints.Path}/{Id}";
}

/// <summary>One thing that is not the same on both sides, such as an exercise.</summary>
/// <param name="HasOrigin">Whether it is known how it was when both sides were last the same.</param>
public sealed record DifferingThing(string Title, bool HasOrigin, IReadOnlyList<DifferingField> Fields);

/// <summary>One field of both sides, and of their common origin; null where there is nothing.</summary>
public sealed record DifferingField(string Label, string? Ours, string? Theirs, string? Origin);
