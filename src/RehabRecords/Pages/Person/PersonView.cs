using RehabRecords.Clinical;
using RehabRecords.Pages.Charts;
using RehabRecords.People;
using RehabRecords.Progress;

namespace RehabRecords.Pages.Person;

/// <summary>Everything the person page shows.</summary>
public sealed record PersonView(PersonAnswer Person, string Name, int? Age, DateOnly Today)
{
    public IReadOnlyList<ProgrammeLine> Programmes { get; init; } = [];

    /// <summary>The programme in force, or the latest; null when there is none.</summary>
    public ProgrammeRecord? Record { get; init; }

    public ProgrammeFindings? Findings { get; init; }

    public IReadOnlyList<PracticeDay> Days { get; init; } = [];

    public IReadOnlyList<MeasureSeries> Measures { get; init; } = [];

    /// <summary>What was changed here and by another team, and waits for a choice: the id, and by whom.</summary>
    public IReadOnlyList<(string Id, string Sender)> Conflicts { get; init; } = [];

    /// <summary>What is to be done for the person.</summary>
    public IReadOnlyList<RehabRecords.Tasks.TaskAnswer> Tasks { get; init; } = [];

    /// <summary>Documents of other teams that were taken in.</summary>
    public IReadOnlyList<Received.ReceivedLine> Received { get; init; } = [];

    public IReadOnlyList<NoteLineView> Notes { get; init; } = [];

    /// <summary>How the programme shown was changed, the latest change first.</summary>
    public IReadOnlyList<TimelineEvent> Changes { get; init; } = [];

    public IReadOnlyList<TimelineEvent> Timeline { get; init; } = [];

    public bool WholeTimeline { get; init; }

    public string Address => $"/people/{Person.Id}";
}

public sealed record ProgrammeLine(string Id, string Title, string Status, DateOnly? Start, DateOnly? End, int? Level, string? Reason);

public sealed record NoteLineView(string Id, string Title, string Status, string? From, string? To, string? Date);

/// <summary>One measure on one side: its chart where there is something to draw, the change in words, and the results behind both.</summary>
public sealed record MeasureSeries(string Name, IReadOnlyList<ChartPoint> Points, MeasureChart? Chart, IReadOnlyList<MeasureChange> Changes, NormFinding? Norm, MeasureTrend? Trend);

/// <param name="Address">Where it is read; null when it has no page of its own.</param>
public sealed record TimelineEvent(DateOnly Day, string What, string Words, string? Address);
