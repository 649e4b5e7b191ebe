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

    /// <summary>What the last day is of the time it covers.</summary>
    public string LastDay { get; init; } = NoteKind.ProgressNote.LastDay;

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

    /// <summary>Everything the statements rest on, each once, in the order in which it is first named.</summary>
    public IReadOnlyList<EvidenceLine> Sources => field ??= [.. Statements.SelectMany(s => s.Lines).DistinctBy(l => l.Address)];

    /// <summary>Places of the sources of a statement in <see cref="Sources"/>, from 1.</summary>
    public IEnumerable<int> PlacesOf(StatementLine statement)
    {
        _places ??= Sources.Index().ToDictionary(s => s.Item.Address, s => s.Index + 1, StringComparer.Ordinal);
        return statement.Lines.Select(l => _places[l.Address]).Distinct().Order();
    }

    private Dictionary<string, int>? _places;
}

/// <summary>What stands under one heading.</summary>
/// <param name="WhenEmpty">What is said where nothing stands under it.</param>
public sealed record PartView(string Title, string WhenEmpty, IReadOnlyList<StatementLine> Statements)
{
    public string Anchor => string.Concat(Title.Select(c => char.IsAsciiLetterOrDigit(c) ? char.ToLowerInvariant(c) : '-'));
}

/// <summary>A statement with the lines it rests on and its rule in words.</summary>
/// <param name="RuleWords">When the rule writes such a sentence; empty for words of a clinician.</param>
/// <param name="Lines">What it rests on, the latest first.</param>
/// <param name="OfRedFlag">It tells of an open red flag: the flag is cleared, not the sentence edited.</param>
public sealed record StatementLine(StatementView Statement, string RuleTitle, string RuleWords, string RuleSource, IReadOnlyList<EvidenceLine> Lines, bool IsUrgent, bool OfRedFlag)
{
    public string Anchor => $"s-{Statement.Id}";

    public bool IsOwn => Statement.State == StatementState.Own;

    /// <summary>What stands in its field: the words to be changed.</summary>
    public string Editable => EditableOf(Statement.State, Statement.Text, Statement.DraftedText);

    /// <summary>Of a removed statement the drafted words, which may be put to use in other words.</summary>
    public static string EditableOf(string state, string text, string? drafted) => state == StatementState.Removed ? drafted ?? "" : text;
}

/// <summary>What stood in the form of a page, so that nothing typed is lost.</summary>
/// <param name="Act">What was to be done, such as edit.</param>
/// <param name="Statement">Id of the statement whose button was pressed.</param>
/// <param name="Texts">New words by statement; only those that differ from what the page had shown.</param>
/// <param name="Reasons">Why a statement is to be removed, by statement.</param>
/// <param name="Own">A statement of one's own.</param>
/// <param name="Section">Where that belongs.</param>
/// <param name="Reason">Why a note is amended or withdrawn.</param>
public sealed record Typed(
    string Act, string? Statement, IReadOnlyDictionary<string, string> Texts, IReadOnlyDictionary<string, string> Reasons, string? Own, string? Section, string? Reason)
{
    public string? AlthoughStale { get; init; }

    public string? AlthoughUnresolved { get; init; }

    public bool IsAbout(string statement) => Texts.ContainsKey(statement) || Reasons.ContainsKey(statement);

    /// <summary>How many things are typed that this act would not store.</summary>
    public int LeftOver => (Act == "edit" ? 0 : Texts.Count) + (Act == "add" || Own is null ? 0 : 1);
}
