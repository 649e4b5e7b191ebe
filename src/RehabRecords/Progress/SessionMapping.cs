using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Terms;
using HelpLevel = RehabRecords.Clinical.HelpLevel;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Progress;

/// <summary>Procedure, its results and its harm as a reported session.</summary>
internal static class SessionMapping
{
    /// <param name="firstOf">The prescription of which each ServiceRequest is a version; one that is not listed stands for itself.</param>
    public static Session? Session(
        Procedure procedure, IEnumerable<RecordedResult> results, IEnumerable<AdverseEvent> harms, string timeZone, IReadOnlyDictionary<string, string> firstOf)
    {
        var time = procedure.Performed switch
        {
            FhirDateTime moment => moment.Value,
            Period period => period.Start,
            _ => null,
        };
        var at = Addresses.Instant(time);
        // A missed session is placed on the day it was planned for, which is a day of the programme's zone already.
        if ((at is { } instant ? Schedule.DayOf(instant, timeZone) : Addresses.Day(time)) is not { } day)
            return null;
        var report = new SessionReport(procedure.Evidence(), day, procedure.Status == EventStatus.Completed)
        {
            DoneAt = procedure.Status == EventStatus.Completed ? at : null,
            Reason = Codes.TryParse<NotDoneReason>(procedure.StatusReason.CodeIn(Systems.NotDoneReason)),
            RecordedAt = RecordedAt(procedure),
            Exercises = [.. results.Select(r => r.Exercise).OfType<ExerciseReport>().Select(e => e with { Planned = First(e.Planned) })
                .OrderBy(e => e.Planned, StringComparer.Ordinal).ThenBy(e => e.Evidence, StringComparer.Ordinal)],
            Harms = [.. harms.Select(Harm)],
        };
        var remarks = procedure.Note.Select(n => n.Text?.Trim()).Where(text => !string.IsNullOrEmpty(text)).OfType<string>();
        var skips = results.SelectMany(r => r.Words.Select(words => new ResultRemark(r.Exercise is { } exercise ? First(exercise.Planned) : "", r.Evidence, words)));
        return new Session(procedure.Identity(), report, ReporterOf(procedure.Asserter ?? procedure.Note.Select(n => n.Author).OfType<ResourceReference>().FirstOrDefault()), [.. remarks])
        {
            ResultRemarks = [.. skips.OrderBy(r => r.Evidence, StringComparer.Ordinal)],
        };

        string First(string request) => firstOf.GetValueOrDefault(request, request);
    }

    public static DateTimeOffset? RecordedAt(Procedure procedure) =>
        procedure.GetExtensionValue<Instant>(Extensions.RecordedAt)?.Value;

    /// <summary>The type of the reference tells the role, also where somebody is named in words only.</summary>
    public static Reporter ReporterOf(ResourceReference? who) => (who?.Type ?? who?.Reference?.Split('/')[0]) switch
    {
        "Patient" => new Reporter("patient", null),
        "RelatedPerson" => new Reporter("carer", who!.Display),
        "Practitioner" => new Reporter("clinician", who!.Display),
        "PractitionerRole" => new Reporter("support-worker", who!.Display),
        _ => new Reporter("unknown", who?.Display),
    };

    public static HarmReport Harm(AdverseEvent harm) => new(
        harm.Event.CodeIn(Systems.AdverseEventKind) ?? "other",
        harm.Severity?.Coding.FirstOrDefault()?.Code ?? "severity not recorded",
        harm.Evidence());

    /// <summary>A result of a prescribed exercise; null for one of anything else. What it calls planned is the ServiceRequest it is based on.</summary>
    public static ExerciseReport? Exercise(Observation result)
    {
        if (result.BasedOn.Select(b => b.IdOf("ServiceRequest")).FirstOrDefault(id => id is not null) is not { } planned)
            return null;
        return new ExerciseReport(planned, result.Evidence())
        {
            Skipped = Skipped(result),
            Sets = Integer(result, SessionItem.SetsDone),
            Repetitions = Integer(result, SessionItem.RepetitionsDone),
            PurposefulRepetitions = Integer(result, SessionItem.PurposefulRepetitionsDone),
            Minutes = (Value(result, SessionItem.MinutesDone) as Quantity)?.Value,
            Help = Codes.TryParse<HelpLevel>((Value(result, SessionItem.HelpLevel) as CodeableConcept).CodeIn(Systems.HelpLevel)),
            Side = Codes.TryParse<Side>(Sides.Of(result.BodySite)),
            PainBefore = Integer(result, SessionItem.PainBefore),
            PainDuring = Integer(result, SessionItem.PainDuring),
            PainAfter = Integer(result, SessionItem.PainAfter),
            Exertion = Exertion(result),
            Fatigue = Integer(result, SessionItem.Fatigue0To10),
            Quality = Codes.TryParse<Quality>((Value(result, SessionItem.Quality) as CodeableConcept).CodeIn(Systems.Quality)),
        };
    }

    /// <summary>"Not performed" is skipped; any other absence is an exercise that was done with nothing else recorded.</summary>
    private static NotDoneReason? Skipped(Observation result) =>
        result.DataAbsentReason.CodeIn(Systems.DataAbsentReason) != "not-performed" ? null
            : Codes.TryParse<NotDoneReason>(result.DataAbsentReason.CodeIn(Systems.NotDoneReason)) ?? NotDoneReason.Other;

    private static Exertion? Exertion(Observation result) =>
        Number(result, SessionItem.Exertion0To10) is { } ten ? new Exertion(ExertionScale.ZeroToTen, ten)
        : Number(result, SessionItem.Exertion6To20) is { } twenty ? new Exertion(ExertionScale.SixToTwenty, twenty)
        : null;

    private static decimal? Number(Observation result, string item) => Value(result, item) switch
    {
        Integer whole => whole.Value,
        Quantity quantity => quantity.Value,
        _ => null,
    };

    private static int? Integer(Observation result, string item) => (Value(result, item) as Integer)?.Value;

    private static DataType? Value(Observation result, string item) =>
        result.Component.FirstOrDefault(c => c.Code.CodeIn(Systems.SessionItem) == item)?.Value;
}
