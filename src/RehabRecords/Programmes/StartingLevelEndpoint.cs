using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <param name="ProposedLevel">Null when nothing is proposed; the text says why.</param>
/// <param name="Decision">Who decides.</param>
public sealed record StartingLevelAnswer(
    string Person, string Template, string? Side, int? ProposedLevel, string? ProposedTitle, string Text, string Decision,
    string? Band, bool? Predicted, CapacityMeasure? Measure, SourceAnswer? Source, IReadOnlyList<LevelLine> Levels);

/// <param name="Address">Exact version of the result, under /fhir/.</param>
public sealed record CapacityMeasure(string Measure, string Title, decimal Score, DateTimeOffset MeasuredAt, string Address);

/// <param name="Mark">How far the value was confirmed: published, secondary source, computed, from memory, or common practice without a source.</param>
public sealed record SourceAnswer(string Citation, string Mark, string? Note)
{
    internal static SourceAnswer Of(Source source) => new(source.Citation, source.MarkText, source.Note);
}

public sealed record LevelLine(int Level, string? Title, IReadOnlyList<string> CapacityBands);

public static class StartingLevelEndpoint
{
    private const string Decision = "A proposal only; nothing is set by it. The registered clinician chooses the level, and says why when it is another one.";

    public static void MapStartingLevel(this IEndpointRouteBuilder routes) => routes.MapGet("/api/people/{id}/starting-level", GetAsync)
        .WithTags("Programmes").Produces<StartingLevelAnswer>().Refuses().ProducesProblem(StatusCodes.Status422UnprocessableEntity)
        .WithSummary("Propose a starting level of a template")
        .WithDescription("From the latest completed Action Research Arm Test or Fugl-Meyer upper extremity score of the affected arm (or of `side`, left or right), by the published capacity bands "
            + "the levels of `template` (code|version) are written for. Says which result was used, whether the band is a prediction, its source, and why when nothing is proposed. The therapist decides.");

    private static async Task<StartingLevelAnswer> GetAsync(string id, string? template, string? side, RecordStore store, MeasureCatalogue catalogue, CancellationToken ct)
    {
        var (person, _) = await store.RoutedAsync<Patient>(id, "person", ct);
        if (string.IsNullOrWhiteSpace(template))
            throw Missing.Bad("template", "template is missing; give code|version of a template of the library, the bar written %7C.");
        if (side is not (null or Sides.Left or Sides.Right))
            throw Missing.Bad("side", $"side is '{Rules.Shown(side)}', which is not an arm; give left or right, or leave it out for the affected one.");
        var levels = TemplateMapping.LevelsOf(await store.TemplateAsync("template", template, ct));
        var reading = await store.CapacityAsync(person, Codes.TryParse<Side>(side), ct);
        var proposal = LevelProposal.Of(reading, levels);
        return new StartingLevelAnswer(
            $"Patient/{id}", template, reading.Side?.Code(), proposal.Level, levels.FirstOrDefault(l => l.Level == proposal.Level && l.Level is not null)?.Title,
            PlainWords.Sentence(proposal.Text), Decision, reading.Finding?.Band.Code(), reading.Finding?.Predicted,
            reading.Result is { Value: { } score } r ? new CapacityMeasure(r.Measure, catalogue.Get(r.Measure).Title, score, r.MeasuredAt, r.Evidence) : null,
            reading.Finding is { } finding ? SourceAnswer.Of(finding.Source) : null,
            [.. levels.Select(l => new LevelLine(l.Level ?? 0, l.Title, l.CapacityBands ?? []))]);
    }
}
