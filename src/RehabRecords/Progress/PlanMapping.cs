using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Terms;
using Dosage = RehabRecords.Clinical.Dosage;
using HelpLevel = RehabRecords.Clinical.HelpLevel;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Progress;

/// <summary>CarePlan and ServiceRequest as programme and prescribed exercises.</summary>
internal static class PlanMapping
{
    public static ProgrammeOutline Outline(CarePlan plan) => new(
        plan.Identity(),
        plan.Evidence(),
        plan.Title ?? "Home programme",
        Addresses.Day(plan.Period?.Start) ?? throw new FormatException($"{plan.Evidence()} has no period.start; a programme has a first day."),
        Addresses.Day(plan.Period?.End),
        plan.GetExtensionValue<Code>(Extensions.TimeZone)?.Value ?? "Europe/London",
        plan.GetExtensionValue<Integer>(Extensions.PainLimit)?.Value ?? 5,
        plan.GetExtensionValue<PositiveInt>(Extensions.Level)?.Value,
        plan.GetExtensionValue<FhirString>(Extensions.LevelReason)?.Value);

    /// <param name="id">Id of the prescription of which this is a version.</param>
    /// <param name="locked">Whether a clinician has locked its level.</param>
    public static Prescription Prescription(ServiceRequest request, string id, bool locked, ProgrammeOutline programme, IReadOnlyList<Pause> pauses)
    {
        var dosage = request.GetExtension(Extensions.ExerciseDosage);
        var help = dosage?.GetExtensionValue<CodeableConcept>(Extensions.Dosage.HelpLevel).CodeIn(Systems.HelpLevel);
        var planned = new PlannedExercise(
            id,
            request.Code.CodeIn(Systems.Exercise) ?? request.Identity(),
            request.Code?.Text ?? request.Code?.Coding.FirstOrDefault()?.Display ?? request.Code.CodeIn(Systems.Exercise) ?? "exercise",
            Amount(dosage),
            When(request.Occurrence as Timing, programme) with { Pauses = pauses },
            request.Evidence())
        {
            Help = Codes.TryParse<HelpLevel>(help),
            Locked = locked,
            Gradings = [.. request.GetExtensions(Extensions.Grading).Select(Grading).OfType<Grading>()],
        };
        return new Prescription(planned, Codes.TryParse<Side>(Sides.Of(request.BodySite.FirstOrDefault())))
        {
            Request = request.Identity(),
            CautionTags = PrecautionMapping.TagsOf(request),
            CautionsTold = PrecautionMapping.ToldBy(request),
        };
    }

    private static Dosage Amount(Extension? dosage) => new(
        dosage?.GetExtensionValue<PositiveInt>(Extensions.Dosage.Sets)?.Value ?? 1,
        dosage?.GetExtensionValue<PositiveInt>(Extensions.Dosage.Repetitions)?.Value,
        dosage?.GetExtensionValue<Quantity>(Extensions.Dosage.Minutes)?.Value,
        (int?)dosage?.GetExtensionValue<Quantity>(Extensions.Dosage.Hold)?.Value,
        (int?)dosage?.GetExtensionValue<Quantity>(Extensions.Dosage.Rest)?.Value);

    private static Grading? Grading(Extension grading)
    {
        var direction = Codes.TryParse<GradingDirection>(grading.GetExtensionValue<Code>("direction")?.Value);
        var dimension = Codes.TryParse<GradingDimension>(grading.GetExtensionValue<CodeableConcept>("dimension").CodeIn(Systems.GradingDimension));
        return direction is { } way && dimension is { } what
            ? new Grading(way, what, grading.GetExtensionValue<FhirString>("text")?.Value ?? "")
            : null;
    }

    private static Schedule When(Timing? timing, ProgrammeOutline programme)
    {
        var repeat = timing?.Repeat;
        var bounds = repeat?.Bounds as Period;
        return new Schedule(Addresses.Day(bounds?.Start) ?? programme.Start, programme.TimeZone)
        {
            End = Addresses.Day(bounds?.End) ?? programme.End,
            Frequency = repeat?.Frequency ?? 1,
            Period = (int)(repeat?.Period ?? 1),
            Unit = repeat?.PeriodUnit == Timing.UnitsOfTime.Wk ? PeriodUnit.Week : PeriodUnit.Day,
            Days = [.. (repeat?.DayOfWeek ?? []).OfType<Hl7.Fhir.Model.DaysOfWeek>().Select(DayOf)],
            Times = [.. (repeat?.TimeOfDay ?? []).OfType<string>().Select(t => TimeOnly.Parse(t, System.Globalization.CultureInfo.InvariantCulture))],
            Count = repeat?.Count,
        };
    }

    private static DayOfWeek DayOf(Hl7.Fhir.Model.DaysOfWeek day) => day switch
    {
        Hl7.Fhir.Model.DaysOfWeek.Mon => DayOfWeek.Monday,
        Hl7.Fhir.Model.DaysOfWeek.Tue => DayOfWeek.Tuesday,
        Hl7.Fhir.Model.DaysOfWeek.Wed => DayOfWeek.Wednesday,
        Hl7.Fhir.Model.DaysOfWeek.Thu => DayOfWeek.Thursday,
        Hl7.Fhir.Model.DaysOfWeek.Fri => DayOfWeek.Friday,
        Hl7.Fhir.Model.DaysOfWeek.Sat => DayOfWeek.Saturday,
        _ => DayOfWeek.Sunday,
    };
}
