using RehabRecords.Documents;
using RehabRecords.Notes;
using RehabRecords.Pages.You;

namespace RehabRecords.Pages.Review;

/// <summary>A note as its page shows it.</summary>
/// <param name="Version">The version shown.</param>
/// <param name="Mark">What the document is worth, in a few words.</param>
public sealed record NotePageView(string Id, int Version, NoteView Note, string Mark, IReadOnlyList<PartView> Parts)
{
    /// <summary>Number of the latest version, when an older one is shown.</summary>
    public int? Latest { get; init; }

    public Who? Who { get; init; }

    /// <summary>Signature and what came of checking it just now; null for what nobody signed.</summary>
    public SignatureView? Signature { get; init; }

    /// <summary>What was typed and refused.</summary>
    public Typed? Typed { get; init; }

    public IReadOnlyList<string> Faults { get; init; } = [];

    /// <summary>What has just been done, to be said once.</summary>
    public string? Done { get; init; }

    public bool IsDraft => Note.Status == "preliminary";

    public bool IsWithdrawn => Note.Stage == Stages.EnteredInError;

    public bool IsSummary => Note.Kind == NoteKind.DischargeSummary.Name;

    public bool Waits => Note.Stage == Stages.AwaitingCountersignature;

    /// <summary>Whether it may be worked on here: the latest version, by somebody who said who they are.</summary>
    public bool CanEdit => IsDraft && Latest is null && Who is not null;

    public string Address => $"/notes/{Id}";

    public string PersonAddress => $"/people/{Note.Person.Split('/')[^1]}";

    /// <summary>Where a statement is read with all that it rests on.</summary>
    public string AddressOf(StatementLine line) => $"{Address}/statements/{line.Statement.Id}{Shown}";

    /// <summary>Where it stands in the note.</summary>
    public string PlaceOf(StatementLine line) => $"{Address}{Shown}#{line.Anchor}";

    private string Shown => Latest is null ? "" : $"?version={Version}";

    public IEnumerable<StatementLine> Statements => Parts.SelectMany(p => p.Statements);
}

/// <summary>What stands under one heading.</summary>
/// <param name="WhenEmpty">What is said where nothing stands under it.</param>
public sealed record PartView(string Title, string WhenEmpty, IReadOnlyList<StatementLine> Statements)
{
    public string Anchor => Title.Replace(' ', '-').ToLowerInvariant();
}

/// <summary>A statement with the lines it rests on and its rule in words.</summary>
/// <param name="RuleWords">When the rule writes such a sentence; empty for words of a clinician.</param>
/// <param name="Lines">What it rests on, the latest first.</param>
/// <param name="OfRedFlag">It tells of an open red flag: the flag is cleared, not the sentence edited.</param>
public sealed record StatementLine(StatementView Statement, string RuleTitle, string RuleWords, string RuleSource, IReadOnlyList<EvidenceLine> Lines, bool IsUrgent, bool OfRedFlag)
{
    public string Anchor => $"s-{Statement.Id}";

    public bool IsOwn => Statement.State == StatementState.Own;
}

/// <summary>A form that was refused, so that nothing typed is lost.</summary>
/// <param name="Act">What it was to do, such as edit.</param>
/// <param name="Statement">Id of the statement it was about.</param>
public sealed record Typed(string Act, string? Statement, string? Text, string? Reason, string? Section)
{
    public string? AlthoughStale { get; init; }

    public string? AlthoughUnresolved { get; init; }

    public string? TextOf(string statement) => Act == "edit" && Statement == statement ? Text : null;

    public string? ReasonOf(string statement) => Act == "remove" && Statement == statement ? Reason : null;

    public bool IsAbout(string statement) => Statement == statement && Act is "edit" or "remove" && Statement == statement;
}
