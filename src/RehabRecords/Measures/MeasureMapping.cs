using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Library;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Measures;

/// <summary>Between a result of a measure and Observation.</summary>
internal static class MeasureMapping
{
    /// <summary>What the person or a clinician answers on a form; all others are tests of what can be done.</summary>
    private static readonly HashSet<string> Surveys =
    [
        "motor-activity-amount", "motor-activity-quality", "barthel-100", "barthel-20", "modified-rankin", "stroke-impact-hand",
        "pain-rest", "pain-movement", "pain-night", "pain-task", "exertion-6-20", "exertion-0-10", "fatigue-0-10",
        "fatigue-severity-9", "fatigue-severity-7", "gas-level", "gas-t-score",
    ];

    public static Observation ToObservation(
        this MeasureRequest request, MeasureDefinition measure, decimal? value, ResourceReference? assessor, DateTimeOffset now, IReadOnlyList<Observation> parts)
    {
        var status = request.Status ?? Terms.MeasureStatus.Completed;
        var unit = request.Unit ?? measure.Unit;
        var observation = new Observation
        {
            Status = ObservationStatus.Final,
            Category = [Concepts.Concept(Systems.ObservationCategory, Surveys.Contains(measure.Id) ? "survey" : "exam")],
            Code = CodeOf(measure, request.Side),
            Subject = new ResourceReference($"Patient/{Rules.Bare(request.Person!, "Patient")}"),
            Effective = new FhirDateTime(request.MeasuredAt!.Value),
            Issued = now,
            Performer = assessor is null ? [] : [assessor],
            BodySite = request.Side is { } side ? Sides.BodySite(side) : null,
            Method = request.Variant is { } variant ? new CodeableConcept { Text = variant } : null,
            Note = request.Note is { } note ? [new Annotation { Author = request.Assessor is { } who ? new FhirString(who.Words) : null, Text = note }] : [],
            Focus = request.Goal is { } goal ? [new ResourceReference($"Goal/{Rules.Bare(goal, "Goal")}")] : [],
        };
        observation.Profiled(Profiles.MeasureResult);
        if (status != Terms.MeasureStatus.Completed)
            observation.DataAbsentReason = CodeLists.MeasureStatus.Concept(status);
        else if (measure.Scale == ScaleKind.Grades)
            observation.Value = new CodeableConcept(Systems.GradeOf(measure.Id), request.Grade!, $"Grade {request.Grade}", request.Grade);
        else if (measure.Id == MeasureCode.GasLevel)
            observation.Value = new Integer((int)value!.Value);
        else
            observation.Value = Concepts.Ucum(value!.Value, unit, unit == measure.Unit ? measure.UnitText : unit);
        if (request.Site is { } site)
            observation.Component.Add(Part(MeasureComponent.Site, "Muscle group or movement", CodeLists.MeasureSite.Concept(site)));
        if (request.DistanceMetres is { } metres)
            observation.Component.Add(Part(MeasureComponent.TimedDistance, "Timed distance", Concepts.Ucum(metres, "m")));
        if (request.Seconds is { } seconds)
            observation.Component.Add(Part(MeasureComponent.TimeTaken, "Time taken", Concepts.Ucum(seconds, "s")));
        observation.DerivedFrom.AddRange(parts.Select(part => new ResourceReference($"Observation/{part.Id}", part.Code.Text)));
        foreach (var trial in request.Trials ?? [])
            observation.Component.Add(Part(MeasureComponent.Trial, "Trial", Concepts.Ucum(trial, unit)));
        if (request.TimeLimitSeconds is { } limit)
            observation.Component.Add(Part(MeasureComponent.TimeLimit, "Time limit", Concepts.Ucum(limit, "s")));
        if (request.PegsPlaced is { } pegs)
            observation.Component.Add(Part(MeasureComponent.PegsPlaced, "Pegs placed", new Integer(pegs)));
        observation.Text = Readable.Of(Words(request, measure, value, unit, status));
        return observation;
    }

    /// <summary>One subscale of a total: as the total, with its own score, the items tested and what does not fit together.</summary>
    public static Observation ToPart(this MeasureRequest request, ArmTestPart part, MeasureDefinition measure, ResourceReference? assessor, DateTimeOffset now)
    {
        var own = request with { Measure = part.Measure, Value = null, Subscales = null, Items = null, Trials = null, Note = null };
        var observation = own.ToObservation(measure, part.Score, assessor, now, []);
        for (var i = 0; i < part.Items.Count; i++)
            observation.Component.Add(Part(MeasureComponent.Item(i + 1), $"Item {i + 1}", new Integer(part.Items[i])));
        if (part.Doubt is { } doubt)
            observation.Note.Add(new Annotation { Author = new FhirString("RehabRecords"), Text = PlainWords.Sentence(doubt) });
        return observation;
    }

    /// <summary>Our code, and LOINC's beside it where it was confirmed and names this hand.</summary>
    private static CodeableConcept CodeOf(MeasureDefinition measure, string? side)
    {
        var code = Concepts.Concept(Systems.Measure, measure.Id, measure.Title);
        foreach (var coding in measure.Codings.Where(c => c.Mark == Mark.Published && (c.Side is null || c.Side.Value.Code() == side)))
            code.And(coding.System, coding.Code);
        return code;
    }

    private static IEnumerable<string?> Words(MeasureRequest request, MeasureDefinition measure, decimal? value, string unit, string status)
    {
        var title = string.Join(", ", new[] { measure.Title, request.Site is { } site ? CodeLists.MeasureSite.Words(site) : null, request.Side }.OfType<string>());
        var words = unit == measure.Unit ? measure.UnitText : unit;
        yield return status != Terms.MeasureStatus.Completed
            ? PlainWords.Sentence($"{title}: {CodeLists.MeasureStatus.Words(status)}")
            : measure.Scale == ScaleKind.Grades ? PlainWords.Sentence($"{title}: grade {request.Grade}")
            : PlainWords.Sentence($"{title}: {Rules.Number(value!.Value)} {words}");
        if (request.Trials is { Count: > 0 } trials)
            yield return $"Trials: {string.Join(", ", trials.Select(Rules.Number))} {words}.";
        if (request is { DistanceMetres: { } metres, Seconds: { } seconds })
            yield return $"{Rules.Number(metres)} m in {Rules.Number(seconds)} s.";
        if (request.Variant is { } variant)
            yield return $"Version: {variant}.";
        if (request.TimeLimitSeconds is { } limit)
            yield return $"Time limit: {Rules.Number(limit)} s.";
        if (request.PegsPlaced is { } pegs)
            yield return $"Pegs placed: {pegs} of 9.";
        yield return request.Note;
    }

    public static MeasureAnswer ToAnswer(this Observation observation) => new()
    {
        Id = observation.Id!,
        Observation = $"Observation/{observation.Id}",
        Person = observation.Subject?.Reference,
        Measure = observation.Code.CodeIn(Systems.Measure),
        Title = observation.Code?.Text,
        Side = Sides.Of(observation.BodySite),
        MeasuredAt = (observation.Effective as FhirDateTime)?.Value,
        Status = observation.DataAbsentReason.CodeIn(Systems.MeasureStatus) ?? Terms.MeasureStatus.Completed,
        Value = (observation.Value as Quantity)?.Value ?? (observation.Value as Integer)?.Value,
        Grade = (observation.Value as CodeableConcept)?.Text,
        Site = Parts(observation, MeasureComponent.Site).OfType<CodeableConcept>().FirstOrDefault().CodeIn(Systems.MeasureSite),
        DistanceMetres = Parts(observation, MeasureComponent.TimedDistance).OfType<Quantity>().FirstOrDefault()?.Value,
        Seconds = Parts(observation, MeasureComponent.TimeTaken).OfType<Quantity>().FirstOrDefault()?.Value,
        Items = MeasureComponent.Items.Select(item => Parts(observation, item).OfType<Integer>().FirstOrDefault()?.Value).ToList() is var items && items.Exists(i => i is not null)
            ? [.. items.Take(items.FindLastIndex(i => i is not null) + 1)] : null,
        DerivedFrom = [.. observation.DerivedFrom.Select(d => d.Reference).OfType<string>()],
        Unit = (observation.Value as Quantity)?.Code,
        Trials = [.. Parts(observation, MeasureComponent.Trial).OfType<Quantity>().Select(q => q.Value!.Value)],
        TimeLimitSeconds = Parts(observation, MeasureComponent.TimeLimit).OfType<Quantity>().FirstOrDefault()?.Value,
        PegsPlaced = Parts(observation, MeasureComponent.PegsPlaced).OfType<Integer>().FirstOrDefault()?.Value,
        Variant = observation.Method?.Text,
        Goal = observation.Focus.FirstOrDefault()?.Reference,
        Assessor = observation.Performer.FirstOrDefault()?.Display,
        Note = observation.Note.FirstOrDefault()?.Text,
    };

    private static Observation.ComponentComponent Part(string code, string words, DataType value) =>
        new() { Code = Concepts.Concept(Systems.Measure, code, words), Value = value };

    private static IEnumerable<DataType> Parts(Observation observation, string code) =>
        observation.Component.Where(c => c.Code.CodeIn(Systems.Measure) == code).Select(c => c.Value!);
}

public sealed record MeasureAnswer
{
    public required string Id { get; init; }

    public required string Observation { get; init; }

    public string? Person { get; init; }

    public string? Measure { get; init; }

    public string? Title { get; init; }

    public string? Side { get; init; }

    public string? Site { get; init; }

    public string? MeasuredAt { get; init; }

    public string? Status { get; init; }

    public decimal? Value { get; init; }

    public string? Grade { get; init; }

    public string? Unit { get; init; }

    public IReadOnlyList<decimal> Trials { get; init; } = [];

    public decimal? DistanceMetres { get; init; }

    public decimal? Seconds { get; init; }

    /// <summary>Item scores in the order of the form; null for an item that was not tested.</summary>
    public IReadOnlyList<int?>? Items { get; init; }

    /// <summary>Results this one was made from, such as the subscales of a total.</summary>
    public IReadOnlyList<string> DerivedFrom { get; init; } = [];

    public decimal? TimeLimitSeconds { get; init; }

    public int? PegsPlaced { get; init; }

    public string? Variant { get; init; }

    public string? Goal { get; init; }

    public string? Assessor { get; init; }

    public string? Note { get; init; }
}
