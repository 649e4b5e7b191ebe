using Hl7.Fhir.Model;
using RehabRecords.Notes;
using RehabRecords.Terms;

namespace RehabRecords.Documents;

/// <summary>What has become of a statement; codes of the code system statement-state.</summary>
public static class StatementState
{
    /// <summary>As the software drafted it, and nobody has said anything to it. Held as no state at all.</summary>
    public static readonly string Drafted = "drafted";
    public const string Accepted = "accepted";
    public const string Edited = "edited";
    public const string Removed = "removed";
    public const string Own = "own";
}

/// <summary>
/// A statement of a document as it is held: the section within a section. What a clinician did to it stands in it: the
/// person as author, the state, the time, and the words that the software drafted.
/// </summary>
public sealed class NoteStatement
{
    /// <summary>The rule of a statement that a clinician wrote.</summary>
    public const string OwnRule = "clinician";

    public static CodeableConcept OwnCode() => new(Systems.NoteRule, OwnRule, "Clinician", null);

    private readonly Composition.SectionComponent _held;

    private NoteStatement(Composition.SectionComponent held, Composition.SectionComponent part, DocumentKind kind) => (_held, Part, Kind) = (held, part, KindOf(held, kind));

    /// <summary>In reading order.</summary>
    public static IReadOnlyList<NoteStatement> Of(Composition note, DocumentKind kind) =>
        [.. from part in note.Section from held in part.Section select new NoteStatement(held, part, kind)];

    public static NoteStatement Of(Composition.SectionComponent held, Composition.SectionComponent part, DocumentKind kind) => new(held, part, kind);

    public Composition.SectionComponent Held => _held;

    /// <summary>The section of the note it stands in.</summary>
    public Composition.SectionComponent Part { get; }

    public string Id => _held.ElementId ?? "";

    public string Rule => _held.Code.CodeIn(Systems.NoteRule) ?? "";

    /// <summary>A code of <see cref="StatementKind"/>.</summary>
    public string Kind { get; }

    /// <summary>An open red flag: what is read before anything else.</summary>
    public bool IsUrgent => Rule == NoteRules.UrgentFlag.Id || Rule == Discharges.DischargeRules.OpenFlag.Id;

    /// <summary>As it is read now; of a removed one, that it was removed.</summary>
    public string Text => _held.Text?.Div is { } div ? Prose.Words(div) : "";

    /// <summary>What the software drafted, where a clinician changed or removed it.</summary>
    public string? DraftedText => _held.GetStringExtension(Extensions.DraftedText);

    /// <summary>The software's words: as drafted at first, or as drafted now where that has changed.</summary>
    public string? Drafted => State switch
    {
        StatementState.Own => null,
        StatementState.Edited or StatementState.Removed => DraftedText,
        _ => Text,
    };

    public string State => _held.GetExtensionValue<Code>(Extensions.StatementState)?.Value ?? StatementState.Drafted;

    public bool IsTouched => State != StatementState.Drafted;

    /// <summary>Who answers for it as it stands; null for what only software wrote.</summary>
    public string? By => _held.Author.FirstOrDefault()?.Display;

    public DateTimeOffset? At => _held.GetExtensionValue<Instant>(Extensions.StatementChanged)?.Value;

    public string? Reason => _held.GetStringExtension(Extensions.RemovalReason);

    /// <summary>Why a clinician must look at it again; null when nothing asks for it.</summary>
    public string? NeedsALook => _held.GetStringExtension(Extensions.NeedsALook);

    public IReadOnlyList<string> Evidence => [.. _held.Entry.Select(e => e.Reference).OfType<string>()];

    public IReadOnlyList<Quantity> Values => [.. _held.GetExtensions(Extensions.StatedValue).Select(e => e.Value).OfType<Quantity>()];

    private static string KindOf(Composition.SectionComponent held, DocumentKind kind) =>
        held.Code.CodeIn(Systems.NoteRule) is { } rule && rule != OwnRule ? kind.StatementKindOf(rule) : StatementKind.Finding;
}
