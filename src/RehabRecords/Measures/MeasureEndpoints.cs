using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Measures;

public static class MeasureEndpoints
{
    public static void MapMeasures(this IEndpointRouteBuilder routes)
    {
        var measures = routes.MapGroup("/api/measures").WithTags("Measures");
        measures.MapPost("", (Posted<MeasureRequest> posted, RecordMeasure record, CancellationToken ct) => record.RunAsync(posted, ct))
            .Answers<MeasureAnswer>(StatusCodes.Status201Created).WithExample("measure")
            .WithSummary("Record the result of a measure")
            .WithDescription("Unit, range, step, side and status are checked against the catalogue. Status is kept apart from the value: a test that was not completed has none, "
                + "and a time limit is never stored as a time. Forces are kept in the unit they were measured in: kgf, [lbf_av] or N. Trials are kept; their mean is the value.");
        measures.MapGet("", ListAsync).WithSummary("List a person's measures").WithDescription("By time measured, oldest first. `person` is the person's id; `measure` narrows to one measure.");
        measures.MapGet("catalogue", static (MeasureCatalogue catalogue) => catalogue.All.Select(MeasureView.Of).ToList()).WithSummary("The catalogue of measures")
            .WithDescription("What may be posted: units, ranges, grades, versions and statuses of each measure; and what its results are read against: threshold rows with "
                + "population, side, level, number of people, citation and mark, and norm tables. Every number of a note can be looked up here by its id.");
        measures.MapGet("{id}", GetAsync).Refuses().WithSummary("Read the result of a measure").WithDescription("One result with its trials and its status.");
    }

    private static async Task<IReadOnlyList<MeasureAnswer>> ListAsync(string person, string? measure, RecordStore store, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(Rules.Bare(person, "Patient"), "person", ct);
        var code = measure is null ? "" : "&code=" + Uri.EscapeDataString($"{Systems.Measure}|{measure}");
        var found = await store.FindAllAsync<Observation>($"subject=Patient/{patient.Id}{code}", ct);
        return [.. found.Where(IsMeasure).OrderBy(o => (o.Effective as FhirDateTime)?.ToDateTimeOffsetOrNull()).Select(o => o.ToAnswer())];
    }

    private static async Task<MeasureAnswer> GetAsync(string id, RecordStore store, CancellationToken ct)
    {
        var (observation, _) = await store.RoutedAsync<Observation>(id, "result of a measure", ct);
        return IsMeasure(observation)
            ? observation.ToAnswer()
            : throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"Observation '{id}' is not the result of a measure; list those with /api/measures?person=.", "id");
    }

    private static bool IsMeasure(Observation observation) =>
        observation.Code.CodeIn(Systems.Measure) is not null && observation.Status != ObservationStatus.EnteredInError;

    private static DateTimeOffset? ToDateTimeOffsetOrNull(this FhirDateTime time) => time.TryToDateTimeOffset(out var at) ? at : null;
}
