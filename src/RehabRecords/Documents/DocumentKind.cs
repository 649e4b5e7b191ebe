using Hl7.Fhir.Model;

namespace RehabRecords.Documents;

/// <summary>
/// A kind of clinical document that passes through the life cycle: drafted, edited, countersigned where needed, signed,
/// amended. Its Composition holds a section for each statement within sections that have a title and a LOINC code.
/// </summary>
/// <param name="Loinc">Code of Composition.type.</param>
/// <param name="Name">In words, in lower case, such as "progress note".</param>
/// <param name="Profile">What its Composition claims.</param>
/// <param name="DocumentProfile">What the frozen document claims.</param>
public sealed record DocumentKind(string Loinc, string Name, string Profile, string DocumentProfile)
{
    /// <summary>
    /// The draft as the record would have it now, for the same thing as the one given; null where drafts of this kind are not
    /// made anew. Nothing is written.
    /// </summary>
    public Func<Composition, CancellationToken, Task<Composition?>>? DraftAnew { get; init; }

    /// <summary>The kind of statement a rule makes, a code of <see cref="Terms.StatementKind"/>.</summary>
    public Func<string, string> StatementKindOf { get; init; } = static _ => Terms.StatementKind.Finding;

    /// <summary>What the last day is of the time it covers.</summary>
    public string LastDay { get; init; } = "the day of the latest result";

    /// <summary>Rules whose statements speak of an open red flag: it is cleared, not written away.</summary>
    public IReadOnlyList<string> RedFlagRules { get; init; } = [];
}

/// <summary>The kinds there are; each feature that drafts one registers it.</summary>
public sealed class DocumentKinds(IEnumerable<DocumentKind> kinds)
{
    private readonly IReadOnlyList<DocumentKind> _kinds = [.. kinds];

    public IReadOnlyList<DocumentKind> All => _kinds;

    /// <summary>By the profile it claims; null when it is none of these.</summary>
    public DocumentKind? Of(Composition note) =>
        _kinds.FirstOrDefault(k => note.Meta?.Profile.Any(p => p is not null && p.Split('|')[0] == k.Profile) == true);
}
