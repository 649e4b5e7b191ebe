using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Measures;

/// <summary>From a request to one Observation, checked against the catalogue of measures.</summary>
public sealed class RecordMeasure(RecordStore store, Recording recording, TimeProvider clock, MeasureCatalogue catalogue)
{
    public Task<IResult> RunAsync(Posted<MeasureRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var request = posted.Body;
        var measure = Check(request, catalogue, out var value);
        var person = Rules.Bare(request.Person!, "Patient");
        await store.NamedAsync<Patient>("person", person, "person", cancel);
        if (request.Goal is { } named)
        {
            var (goal, _) = await store.NamedAsync<Goal>("goal", Rules.Bare(named, "Goal"), "goal", cancel);
            if (goal.Subject?.Reference != $"Patient/{person}")
                throw Missing.Bad("goal", $"goal is '{Rules.Shown(named)}', which is a goal of another person; give a goal of person {person}.");
        }

        var assessor = request.Assessor is { } who ? await who.ReferenceAsync(store, set, cancel) : null;
        var observation = set.Create(request.ToObservation(measure, value, assessor, clock.GetUtcNow()));
        return new Recorded<MeasureAnswer>(StatusCodes.Status201Created, $"/api/measures/{observation.Id}", observation.ToAnswer());
    }, ct, Clinician.Tries);

    /// <summary>The measure, and the value to keep: as sent, or the mean of the trials.</summary>
    private static MeasureDefinition Check(MeasureRequest request, MeasureCatalogue catalogue, out decimal? value)
    {
        var status = Codes.TryParse<MeasureStatus>(request.Status) ?? MeasureStatus.Completed;
        var trials = request.Trials ?? [];
        var measure = catalogue.Find(request.Measure!);
        value = request.Value ?? (status == MeasureStatus.Completed && trials.Count > 0 ? Mean(trials, measure) : null);
        var issues = new List<Issue>();
        void Bad(string field, string message) => issues.Add(Issue.Error(OperationOutcome.IssueType.Value, message, field));
        foreach (var problem in catalogue.Check(new MeasureResult(
            request.Measure!, request.MeasuredAt!.Value, status, value, Codes.TryParse<Side>(request.Side), "")
        {
            Unit = request.Unit,
            Trials = trials,
            TimeLimitSeconds = request.TimeLimitSeconds,
            PegsPlaced = request.PegsPlaced,
            Grade = request.Grade,
            Variant = request.Variant,
        }))
            Bad(problem.Element, problem.Message);
        if (measure is not null && request.Unit is null && measure.Scale != ScaleKind.Grades)
        {
            var units = string.Join(" or ", measure.OtherUnits.Select(u => u.Unit).Prepend(measure.Unit));
            Bad("unit", $"unit is missing; say in which UCUM unit it was measured: {units}.");
        }

        // A wrong value beside right trials (or the reverse) cannot be told apart later.
        if (measure is { TrialSummary: TrialSummary.Mean } && request.Value is { } sent && trials.Count > 0 && Math.Abs(sent - trials.Average()) > 0.05m)
            Bad("value", $"value is {Rules.Number(sent)}, but the mean of the trials is {Rules.Number(Mean(trials, measure))}; leave value out, or correct it or the trials.");
        return issues.Count == 0 ? measure! : throw new RefusedException(Refusal.Invalid, issues);
    }

    private static decimal Mean(IReadOnlyList<decimal> trials, MeasureDefinition? measure) =>
        Math.Round(trials.Average(), Math.Max(2, measure?.Decimals ?? 2), MidpointRounding.AwayFromZero);
}
