using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Terms;
using MeasureStatus = RehabRecords.Clinical.MeasureStatus;

namespace RehabRecords.Progress;

/// <summary>Observations of measures, and goals with the levels attained.</summary>
internal static class MeasureMapping
{
    public static MeasureResult? Result(Observation observation)
    {
        if (observation.Code.CodeIn(Systems.Measure) is not { } measure || MeasuredAt(observation) is not { } at)
            return null;
        var status = Codes.TryParse<MeasureStatus>(observation.DataAbsentReason.CodeIn(Systems.MeasureStatus))
            ?? (observation.Value is null ? MeasureStatus.NotAttempted : MeasureStatus.Completed);
        var quantity = observation.Value as Quantity;
        return new MeasureResult(
            measure, at, status,
            quantity?.Value ?? (observation.Value as Integer)?.Value,
            Codes.TryParse<Side>(Sides.Of(observation.BodySite)),
            observation.Evidence())
        {
            Unit = quantity?.Code,
            Trials = [.. Components(observation, MeasureComponent.Trial).OfType<Quantity>().Select(q => q.Value).OfType<decimal>()],
            TimeLimitSeconds = Components(observation, MeasureComponent.TimeLimit).OfType<Quantity>().FirstOrDefault()?.Value,
            PegsPlaced = Components(observation, MeasureComponent.PegsPlaced).OfType<Integer>().FirstOrDefault()?.Value,
            Grade = (observation.Value as CodeableConcept) is { } grade ? grade.Coding.FirstOrDefault()?.Code ?? grade.Text : null,
            Variant = observation.Method?.Text,
            Site = Components(observation, MeasureComponent.Site).OfType<CodeableConcept>().FirstOrDefault().CodeIn(Systems.MeasureSite) is { } site
                ? CodeLists.MeasureSite.Words(site) : null,
        };
    }

    /// <summary>Of each result that a total was made from, the total.</summary>
    public static IReadOnlyDictionary<string, string> Totals(IEnumerable<RecordedResult> results) =>
        (from total in results
         from part in total.TotalOf
         select (Part: part, Total: total)).GroupBy(p => p.Part).ToDictionary(p => p.Key, p => p.First().Total.Evidence);

    public static DateTimeOffset? MeasuredAt(Observation observation) => observation.Effective switch
    {
        FhirDateTime at => Addresses.Instant(at.Value),
        Period period => Addresses.Instant(period.Start),
        Instant instant => instant.Value,
        _ => null,
    };

    /// <summary>A level that a goal had attained; null where the time or the level is missing.</summary>
    public static AttainedLevel? Level(Observation observation) =>
        MeasuredAt(observation) is { } at && ((observation.Value as Integer)?.Value ?? (int?)(observation.Value as Quantity)?.Value) is { } level
            ? new AttainedLevel(at, level, observation.Evidence()) : null;

    public static ProgrammeGoal Goal(Goal goal, IEnumerable<RecordedResult> results)
    {
        var weight = goal.GetExtension(Extensions.GoalWeight);
        var described = new SortedDictionary<int, string>();
        foreach (var level in goal.GetExtensions(Extensions.AttainmentLevel))
            if (level.GetExtensionValue<Integer>("level")?.Value is { } number)
                described[number] = level.GetExtensionValue<FhirString>("description")?.Value ?? "";
        return new ProgrammeGoal(
            goal.Identity(), goal.Evidence(), goal.Description?.Text ?? "Goal", described,
            weight?.GetExtensionValue<Integer>("importance")?.Value,
            weight?.GetExtensionValue<Integer>("difficulty")?.Value,
            Addresses.Day((goal.Target.FirstOrDefault()?.Due as Date)?.Value),
            [.. from result in results
                where result.Level is not null && result.Goals.Contains(goal.Id)
                orderby result.Level!.At, result.Id
                select result.Level]);
    }

    private static IEnumerable<DataType> Components(Observation observation, string code) =>
        observation.Component.Where(c => c.Code.CodeIn(Systems.Measure) == code).Select(c => c.Value).OfType<DataType>();
}
