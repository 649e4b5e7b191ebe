using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using TemplateLevel = RehabRecords.Library.TemplateLevel;

namespace RehabRecords.Programmes;

/// <summary>What a published capacity band proposes as the starting level of a template. The therapist decides.</summary>
/// <param name="Level">The level proposed; null when none is.</param>
internal sealed record LevelProposal(CapacityReading Reading, int? Level, string Text)
{
    public static LevelProposal Of(CapacityReading reading, IReadOnlyList<TemplateLevel> levels)
    {
        var proposed = reading.Finding is { } finding ? StartingLevel.Propose(finding, Banded(levels)) : null;
        return new(reading, proposed, (proposed, reading.Finding) switch
        {
            ({ } level, { } f) => $"Level {level} is proposed: {reading.Text} ({f.Source})",
            (_, { } f) => $"No level is proposed, because none of the template is written for this band: {reading.Text} ({f.Source})",
            _ => $"No level is proposed. {reading.Text}",
        });
    }

    /// <summary>
    /// Why the level was chosen: the therapist's words, or, where they only take up the proposal, the proposal itself.
    /// </summary>
    /// <exception cref="Fhir.RefusedException">The level departs from the proposal, or there is none, and no reason is given.</exception>
    public string ReasonFor(int level, string? reason, IReadOnlyList<TemplateLevel> levels)
    {
        if (reason is not null)
            return reason;
        if (level == Level)
            return StartingLevel.Choose(level, null, Reading.Finding, Banded(levels)).Reason;
        throw Missing.Bad("levelReason", Level is null
            ? $"levelReason is missing; give why this level ({level}) was chosen. {PlainWords.Sentence(Text)}"
            : $"levelReason is missing; give why level {level} was chosen instead of the one proposed, or choose that one. {PlainWords.Sentence(Text)}", OperationOutcome.IssueType.Required);
    }

    /// <summary>Null where no band could be read: then the reason is the therapist's word alone.</summary>
    public Extension? ToExtension()
    {
        if (Reading is not { Finding: { } finding, Result: { } result })
            return null;
        var extension = new Extension { Url = Extensions.LevelProposal };
        if (Level is { } level)
            extension.Extension.Add(new Extension("level", new PositiveInt(level)));
        extension.Extension.Add(new Extension("band", CodeLists.CapacityBand.Concept(finding.Band.Code())));
        extension.Extension.Add(new Extension("predicted", new FhirBoolean(finding.Predicted)));
        extension.Extension.Add(new Extension("text", new FhirString(PlainWords.Sentence(Text))));
        extension.Extension.Add(new Extension("evidence", new ResourceReference(result.Evidence)));
        return extension;
    }

    public static LevelProposalAnswer? From(CarePlan programme) => programme.GetExtension(Extensions.LevelProposal) is { } e
        ? new LevelProposalAnswer(
            e.GetExtensionValue<PositiveInt>("level")?.Value,
            e.GetExtensionValue<CodeableConcept>("band").CodeIn(Systems.CapacityBand),
            e.GetExtensionValue<FhirBoolean>("predicted")?.Value,
            e.GetExtensionValue<FhirString>("text")?.Value,
            e.GetExtensionValue<ResourceReference>("evidence")?.Reference)
        : null;

    private static IReadOnlyList<Clinical.TemplateLevel> Banded(IReadOnlyList<TemplateLevel> levels) =>
        [.. levels.Select(l => new Clinical.TemplateLevel(l.Level ?? 0, [.. (l.CapacityBands ?? []).Select(Codes.TryParse<CapacityBand>).OfType<CapacityBand>()]))];
}

/// <param name="Level">Level proposed when the programme was made; null when no level of the template is written for the band.</param>
/// <param name="Predicted">True when the band was predicted from a Fugl-Meyer score.</param>
/// <param name="Evidence">Exact version of the result, under /fhir/.</param>
public sealed record LevelProposalAnswer(int? Level, string? Band, bool? Predicted, string? Text, string? Evidence);
