using Hl7.Fhir.Model;
using RehabRecords.Documents;

namespace RehabRecords.Notes;

/// <summary>The progress note as a kind of document.</summary>
public static class NoteKind
{
    /// <summary>How it is read; the one that is registered also knows how a draft is made anew.</summary>
    public static DocumentKind ProgressNote { get; } = new(Terms.Loinc.ProgressNote, "progress note", Terms.Profiles.ProgressNote, Terms.Profiles.ProgressNoteDocument)
    {
        StatementKindOf = NoteRules.KindOf,
        RedFlagRules = [NoteRules.UrgentFlag.Id, NoteRules.FlagOutstanding.Id],
    };

    /// <summary>How a discharge summary is read; the one that is registered also knows how a draft is made anew.</summary>
    public static DocumentKind DischargeSummary { get; } = ProgressNote with { Loinc = Terms.Loinc.DischargeSummary, Name = "discharge summary", Profile = Terms.Profiles.DischargeSummary, LastDay = "the day of discharge", RedFlagRules = [.. ProgressNote.RedFlagRules, Discharges.DischargeRules.OpenFlag.Id] };

    /// <summary>How a transfer letter is read; the one that is registered also knows how a draft is made anew.</summary>
    public static DocumentKind TransferLetter { get; } = DischargeSummary with { Loinc = Terms.Loinc.TransferSummary, Name = "transfer letter", Profile = Terms.Profiles.TransferLetter, LastDay = "the day of the letter" };

    /// <summary>Of a stored document, for reading it.</summary>
    public static DocumentKind Of(Composition note) =>
        Headings.Of(note) is var headings && headings == Headings.Discharge ? DischargeSummary : headings == Headings.Letter ? TransferLetter : ProgressNote;

    internal static DocumentKind Registered(IServiceProvider services) => ProgressNote with
    {
        DraftAnew = services.GetRequiredService<DraftNote>().AnewAsync,
    };
}
