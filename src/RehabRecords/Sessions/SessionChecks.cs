using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.Sessions;

/// <summary>Checks a reported session against the programme it belongs to. All faults are told at once.</summary>
internal static class SessionChecks
{
    /// <summary>A session late on the last evening, or reported from another zone, still belongs to the programme.</summary>
    public const int DaysAfterEnd = 1;

    public static IReadOnlyList<PlacedResult> Place(SessionRequest request, ProgrammeRecord record, CarePlan programme, DateTimeOffset now)
    {
        var issues = new List<Issue>();
        void Bad(string field, string message) => issues.Add(Issue.Error(OperationOutcome.IssueType.BusinessRule, message, field));
        var (person, named) = (Rules.Bare(request.Person!, "Patient"), programme.Subject?.Reference);
        if (named != $"Patient/{person}")
            Bad("programme", $"programme is '{Rules.Shown(request.Programme!)}', which is the programme of another person; give a programme of person {person}.");
        if (programme.Status == RequestStatus.Draft)
            Bad("programme", $"programme is '{Rules.Shown(request.Programme!)}', which is a draft and not handed over yet; activate it first (POST /api/programmes/{programme.Id}/activation), or name the programme that was practised.");
        else if (programme.Status is not (RequestStatus.Active or RequestStatus.Completed or RequestStatus.OnHold or RequestStatus.Revoked))
            Bad("programme", $"programme is '{Rules.Shown(request.Programme!)}', whose status is {programme.StatusElement?.JsonValue}; sessions are taken for a programme that was handed over.");
        if (issues.Count == 0)
            CheckDay(request, record.Programme, programme.Status == RequestStatus.Completed, now, Bad);
        var placed = issues.Count == 0 ? Exercises(request, record, DayOf(request, record.Programme).Day, Bad) : [];
        return issues.Count == 0 ? placed : throw new RefusedException(Refusal.Invalid, issues);
    }

    private static void CheckDay(SessionRequest request, ProgrammeOutline programme, bool completed, DateTimeOffset now, Action<string, string> bad)
    {
        var (field, day) = DayOf(request, programme);
        var last = programme.End?.AddDays(request.DoneAt is null || completed ? 0 : DaysAfterEnd);
        var range = programme.End is { } end ? $"{programme.Start:yyyy-MM-dd} to {end:yyyy-MM-dd}" : $"{programme.Start:yyyy-MM-dd} on";
        if (day < programme.Start)
            bad(field, $"{field} is {day:yyyy-MM-dd} in {programme.TimeZone}, before the programme starts; the programme runs from {range}. Correct the date, or name the programme of that time.");
        else if (day > last && completed)
            bad(field, $"{field} is {day:yyyy-MM-dd} in {programme.TimeZone}, after the programme was completed as of {programme.End:yyyy-MM-dd} by the discharge; a session done by that day is still taken, and what is practised since belongs to a new programme (POST /api/programmes).");
        else if (day > last)
            bad(field, $"{field} is {day:yyyy-MM-dd} in {programme.TimeZone}, after the programme ended; the programme runs from {range}. Correct the date, or name the programme of that time.");
        var today = Clinical.Schedule.DayOf(now, programme.TimeZone);
        if (request.Missed is not null && day > today)
            bad(field, $"{field} is {day:yyyy-MM-dd}, which is still to come (it is {today:yyyy-MM-dd} in {programme.TimeZone}); report a session as missed on its day or later.");
    }

    private static (string Field, DateOnly Day) DayOf(SessionRequest request, ProgrammeOutline programme) => request.DoneAt is { } at
        ? ("doneAt", Clinical.Schedule.DayOf(at, programme.TimeZone))
        : ("missed.plannedFor", request.Missed!.PlannedFor!.Value);

    private static List<PlacedResult> Exercises(SessionRequest request, ProgrammeRecord record, DateOnly day, Action<string, string> bad)
    {
        var placed = new List<PlacedResult>();
        foreach (var (result, i) in (request.Exercises ?? []).Select((r, i) => (r, i)))
        {
            var field = $"exercises[{i}].exercise";
            var named = Rules.Bare(result.Exercise!, "ServiceRequest");
            var candidates = record.Prescriptions.GroupBy(p => p.Planned.Id)
                .Where(versions => versions.Any(p => p.Request == named || p.Planned.Exercise == named)).ToList();
            var known = candidates.Count > 0;
            if (candidates.Count > 1 && result.Side is { } side)
                candidates = [.. candidates.Where(versions => versions.First().Side?.Code() == side)];
            // An exercise that was stopped and begun again later is the one that held on the day.
            if (candidates.Count > 1 && candidates.FindAll(versions => versions.Any(p => p.HoldsOn(day))) is { Count: > 0 } held)
                candidates = held;
            if (candidates is not [var versionsOf])
            {
                bad(field, candidates.Count == 0
                    ? $"{field} is '{Rules.Shown(result.Exercise!)}', which this programme does not have{(known ? $" for side {result.Side}" : "")}; use one of: {Known(record)}, or the id of a prescription."
                    : $"{field} is '{Rules.Shown(result.Exercise!)}', which the programme prescribes {candidates.Count} times; give the side too, or the id of the prescription.");
                continue;
            }

            var prescription = AsItStood(versionsOf, day);
            if (placed.Exists(p => p.Prescription == prescription.Request))
                bad(field, $"{field} is '{Rules.Shown(result.Exercise!)}', which is listed twice in this session; add the sets up and list it once, or report a second session with its own doneAt.");
            placed.Add(new PlacedResult(result, prescription.Request, prescription.Planned.Exercise, prescription.Planned.Title, prescription.Side?.Code()));
        }

        return placed;
    }

    /// <summary>A result belongs to the version that held on its day, whenever it is reported and whichever version it names; after a stop, to the last one.</summary>
    private static Prescription AsItStood(IEnumerable<Prescription> versions, DateOnly day)
    {
        var inOrder = versions.OrderBy(p => p.Planned.Schedule.Start).ToList();
        return inOrder.LastOrDefault(p => p.HoldsOn(day)) ?? inOrder.LastOrDefault(p => p.Planned.Schedule.Start <= day) ?? inOrder[0];
    }

    private static string Known(ProgrammeRecord record) => string.Join(", ", record.Prescriptions.Select(p => p.Planned.Exercise).Distinct());
}
