using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Trade;
using MeasureStatus = RehabRecords.Clinical.MeasureStatus;

namespace RehabRecords.Measures;

/// <summary>
/// From a request to its Observation, checked against the catalogue of measures; a total given by its subscales is
/// recorded with them, and a level attained is named by its goal, in the same transaction.
/// </summary>
public sealed class RecordMeasure(RecordStore store, Recording recording, ProgressReader reader, UpToDate upToDate, TimeProvider clock, MeasureCatalogue catalogue)
{
    /// <summary>Sessions may be posted meanwhile, which move the draft that is redone.</summary>
    private const int Tries = 20;

    public Task<IResult> RunAsync(Posted<MeasureRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var request = posted.Body;
        var measured = Check(request);
        var person = Rules.Bare(request.Person!, "Patient");
        await store.NamedAsync<Patient>("person", person, "person", cancel);
        (Goal Goal, int Version)? goal = request.Goal is { } named ? await GoalAsync(named, person, cancel) : null;

        var now = clock.GetUtcNow();
        var assessor = request.Assessor is { } who ? await who.ReferenceAsync(store, set, cancel) : null;
        var parts = measured.Parts.Select(part => set.Create(request.ToPart(part, catalogue.Get(part.Measure), assessor, now))).ToList();
        var observation = set.Create(request.ToObservation(measured.Measure, measured.Value, assessor, now, parts));
        if (goal is var (attained, version) && observation.Value is not null)
        {
            // What the level means for the goal (achievementStatus) is the clinician's to say; here it is only filed.
            attained.OutcomeReference.Add(new ResourceReference($"Observation/{observation.Id}"));
            set.Update(attained, version);
        }

        // A measure is the person's: every draft that is open says it.
        foreach (var programme in await reader.ProgrammesOfAsync(person, cancel))
            await upToDate.AddToOpenAsync(set, await reader.ReadAsync(programme, cancel), cancel);
        return new Recorded<MeasureAnswer>(StatusCodes.Status201Created, $"/api/measures/{observation.Id}", observation.ToAnswer());
    }, ct, Tries);

    private async Task<(Goal Goal, int Version)> GoalAsync(string named, string person, CancellationToken ct)
    {
        var (goal, version) = await store.NamedAsync<Goal>("goal", Rules.Bare(named, "Goal"), "goal", ct);
        return goal.Subject?.Reference == $"Patient/{person}" ? (goal, version)
            : throw Missing.Bad("goal", $"goal is '{Rules.Shown(named)}', which is a goal of another person; give a goal of person {person}.");
    }

    private sealed record Measured(MeasureDefinition Measure, decimal? Value, IReadOnlyList<ArmTestPart> Parts);

    /// <summary>The measure, and the value to keep: as sent, or the summary of the trials, the speed of a walk, the total of subscales.</summary>
    private Measured Check(MeasureRequest request)
    {
        var issues = new List<Issue>();
        void Bad(string field, string message) => issues.Add(Issue.Error(OperationOutcome.IssueType.Value, message, field));
        var status = Codes.TryParse<MeasureStatus>(request.Status) ?? MeasureStatus.Completed;
        var measure = catalogue.Find(request.Measure!);
        var parts = ArmTest.PartsOf(request, Bad);
        var derived = status != MeasureStatus.Completed || measure is null ? null : Derived(request, measure, parts);
        if (issues.Count > 0)
            throw new RefusedException(Refusal.Invalid, issues);

        var value = request.Value ?? derived;
        foreach (var problem in catalogue.Check(new MeasureResult(
            request.Measure!, request.MeasuredAt!.Value, status, value, Codes.TryParse<Side>(request.Side), "")
        {
            Unit = request.Unit,
            Trials = request.Trials ?? [],
            TimeLimitSeconds = request.TimeLimitSeconds,
            PegsPlaced = request.PegsPlaced,
            Grade = request.Grade,
            Variant = request.Variant,
            Site = request.Site,
        }))
            Bad(problem.Element, problem.Message);
        if (measure is not null && request.Unit is null && measure.Scale != ScaleKind.Grades && !request.GivesItsUnit)
        {
            var units = string.Join(" or ", measure.OtherUnits.Select(u => u.Unit).Prepend(measure.Unit));
            Bad("unit", $"unit is missing; say in which UCUM unit it was measured: {units}.");
        }

        // A wrong value beside right trials (or the reverse) cannot be told apart later.
        if (request.Value is { } sent && derived is { } made && Math.Abs(sent - made) > (parts.Count > 0 ? 0 : 0.05m))
            Bad("value", $"value is {Rules.Number(sent)}, but {request.WhatIsGiven(measure!)} is {Rules.Number(made)}; leave value out, or correct it or {request.WhatWasSent}.");
        return issues.Count == 0 ? new Measured(measure!, value, parts) : throw new RefusedException(Refusal.Invalid, issues);
    }

    private static decimal? Derived(MeasureRequest request, MeasureDefinition measure, IReadOnlyList<ArmTestPart> parts)
    {
        if (parts.Count > 0)
            return parts.Sum(part => part.Score);
        if (request is { DistanceMetres: { } metres, Seconds: { } seconds })
            return Math.Round(DerivedScores.WalkingSpeed(metres, seconds), 4, MidpointRounding.AwayFromZero);
        // Of a measure that is a single trial, the trials are kept and the value is said by whoever chose among them.
        return measure.TrialSummary != TrialSummary.Single && measure.Summary(request.Trials ?? []) is { } summary
            ? Math.Round(summary, Math.Max(2, measure.Decimals), MidpointRounding.AwayFromZero)
            : null;
    }
}
