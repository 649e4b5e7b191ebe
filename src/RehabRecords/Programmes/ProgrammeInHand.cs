using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Trade;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Programmes;

/// <summary>
/// A programme that a clinician is about to change, and the one way to change what it prescribes. A prescription is never
/// rewritten: it ends the day before, a new one replaces it, and the results under it stay.
/// </summary>
internal sealed class ProgrammeInHand
{
    private readonly RecordStore _store;
    private readonly List<ServiceRequest> _requests;
    private readonly Dictionary<string, int> _versions;
    private readonly List<ServiceRequest> _new = [];
    private readonly HashSet<ServiceRequest> _ended = [];

    private ProgrammeInHand(RecordStore store, ProgrammeRecord record, DateTimeOffset now)
    {
        (_store, Record, Now) = (store, record, now);
        Plan = (CarePlan)record.Resources.OfType<CarePlan>().Single(p => p.Id == record.Programme.Id).DeepCopy();
        _requests = [.. ProgrammeEndpoints.InOrderOfPlan(Plan, record.Resources.OfType<ServiceRequest>().Select(r => (ServiceRequest)r.DeepCopy()))];
        _versions = _requests.Append<DomainResource>(Plan).ToDictionary(r => r.Id!, r => int.Parse(r.Meta!.VersionId!, CultureInfo.InvariantCulture));
        Today = Schedule.DayOf(now, record.Programme.TimeZone);
    }

    /// <summary>The programme as it was read.</summary>
    public ProgrammeRecord Record { get; }

    public CarePlan Plan { get; }

    public DateTimeOffset Now { get; }

    /// <summary>Today in the programme's zone.</summary>
    public DateOnly Today { get; }

    public IReadOnlyList<ServiceRequest> Requests => _requests;

    /// <summary>What is prescribed now, or from a day to come; one that held, was overtaken and holds again is there once.</summary>
    public IEnumerable<Prescription> Going => Record.Prescriptions.Where(p => RequestOf(p).Status == RequestStatus.Active).GroupBy(p => p.Request).Select(g => g.Last());

    /// <exception cref="RefusedException">NotFound; Invalid when the programme is not under way.</exception>
    public static async Task<ProgrammeInHand> OpenAsync(RecordStore store, ProgressReader reader, string id, DateTimeOffset now, CancellationToken ct)
    {
        var (plan, _) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        if (plan.Status is not (RequestStatus.Active or RequestStatus.OnHold))
            throw Missing.Bad("id", $"id is the programme '{id}', whose status is {plan.StatusElement?.JsonValue}; only a programme that is active or on hold is changed.");
        return new ProgrammeInHand(store, await reader.ReadAsync(id, ct), now);
    }

    /// <summary>A revision that lost the race to another change of the programme was made without knowing it.</summary>
    /// <param name="known">The version that was read first.</param>
    public void RefuseIfMoved(ref string? known)
    {
        var now = $"{_versions[Plan.Id!]}";
        if (known is not null && known != now)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"The programme was changed by somebody else at the same moment (it is at version {now} now); read /api/programmes/{Plan.Id} and send the change again if it is still needed.", "id");
        known = now;
    }

    public async Task<ProgrammeAnswer> AnswerAsync(CancellationToken ct) =>
        ProgrammeAnswer.Of(Plan, _requests, await ProgrammeEndpoints.GoalsAsync(Plan, _store, ct));

    /// <summary>The prescription that an id of any of its versions or an exercise's code names, as it stands now.</summary>
    public Prescription Current(string field, string named)
    {
        var bare = Rules.Bare(named, "ServiceRequest");
        var all = Record.Prescriptions.GroupBy(p => p.Planned.Id).Where(v => v.Any(p => p.Request == bare || p.Planned.Exercise == bare)).Select(v => v.Last()).ToList();
        var going = all.Where(p => RequestOf(p).Status == RequestStatus.Active).ToList();
        return (going, all) switch
        {
            ([var one], _) => one,
            ([], []) => throw Missing.Bad(field, $"{field} is '{Rules.Shown(named)}', which this programme does not have; use one of: {Known()}, or the id of a prescription."),
            ([], [.., var last]) => throw Missing.Bad(field, $"{field} is '{Rules.Shown(named)}', which was stopped after {last.Planned.Schedule.End:yyyy-MM-dd}; add it anew by a revision of the programme."),
            _ => throw Missing.Bad(field, $"{field} is '{Rules.Shown(named)}', which the programme prescribes {going.Count} times; give the id of the prescription: {string.Join(", ", going.Select(p => $"{p.Request} ({p.Side?.Code()})"))}."),
        };
    }

    /// <summary>The day after the latest result, but not before today or before the version that is to be changed begins.</summary>
    public DateOnly From(string field, DateOnly? asked, params IReadOnlyList<Prescription> changed)
    {
        var days = changed.Select(p => p.Planned.Schedule.Start).Append(Today).Append(Record.Programme.Start);
        var results = changed.Select(p => (Prescription: p, Day: LatestResult(p.Planned.Id))).Where(r => r.Day is not null).ToList();
        var from = asked ?? days.Concat(results.Select(r => r.Day!.Value.AddDays(1))).Max();
        var (start, end) = (Record.Programme.Start, Record.Programme.End);
        if (from < start || from > end)
            throw Missing.Bad(field, asked is null
                ? $"{field} is left out and would be {from:yyyy-MM-dd}, after the programme ended on {end:yyyy-MM-dd}; prescribe a new programme instead."
                : $"{field} is {from:yyyy-MM-dd}, and the programme runs from {start:yyyy-MM-dd}{(end is { } last ? $" to {last:yyyy-MM-dd}" : " on")}; give a day of it.");
        foreach (var (prescription, day) in results)
            if (from <= day)
                throw Missing.Bad(field, $"{field} is {from:yyyy-MM-dd}, and {prescription.Planned.Exercise} has a result of {day:yyyy-MM-dd}, practised as it was prescribed then; give a day from {day.Value.AddDays(1):yyyy-MM-dd} on.");
        foreach (var prescription in changed)
            if (from < prescription.Planned.Schedule.Start)
                throw Missing.Bad(field, $"{field} is {from:yyyy-MM-dd}, before {prescription.Planned.Schedule.Start:yyyy-MM-dd}, from which {prescription.Planned.Exercise} is prescribed as it stands; give a day from then on.");
        return from;
    }

    /// <summary>What the prescription asks for, ready to be changed in part.</summary>
    public async Task<Prescribed> AsPrescribedAsync(string field, Prescription prescription, CancellationToken ct)
    {
        var request = RequestOf(prescription);
        return Prescribed.From(request, await _store.ExerciseAsync(field, LibraryReads.AddressOf(request.InstantiatesCanonical.FirstOrDefault() ?? ""), ct));
    }

    public ServiceRequest RequestOf(Prescription prescription) => _requests.Single(r => r.Id == prescription.Request);

    public ServiceRequest Replace(WriteSet set, Prescription prescription, Prescribed with, DateOnly from, ResourceReference by)
    {
        var old = RequestOf(prescription);
        var request = with.For(Record.Precautions).ToServiceRequest(Plan, from, Addresses.Day(Timings.Bounds(old)?.End), Now);
        request.Requester = (ResourceReference)by.DeepCopy();
        request.Replaces = [new ResourceReference($"ServiceRequest/{old.Id}")];
        _requests.Insert(_requests.IndexOf(old) + 1, set.Create(request));
        _new.Add(request);
        End(set, old, from);
        return request;
    }

    public ServiceRequest Add(WriteSet set, Prescribed what, DateOnly from, ResourceReference by)
    {
        var request = what.ToServiceRequest(Plan, from, Record.Programme.End, Now);
        request.Requester = (ResourceReference)by.DeepCopy();
        _requests.Add(set.Create(request));
        _new.Add(request);
        return request;
    }

    public void Stop(WriteSet set, Prescription prescription, DateOnly from) => End(set, RequestOf(prescription), from);

    /// <summary>Brings the programme itself in line with its prescriptions and pauses.</summary>
    public async System.Threading.Tasks.Task SaveAsync(WriteSet set, CancellationToken ct)
    {
        if (_requests.TrueForAll(r => r.Status != RequestStatus.Active))
            throw Missing.Bad("", "Nothing would be prescribed any more; leave at least one exercise, add another in its place, or end the programme.");
        Plan.Activity = [.. _requests.Where(r => r.Status != RequestStatus.EnteredInError)
            .Select(r => new CarePlan.ActivityComponent { Reference = new ResourceReference($"ServiceRequest/{r.Id}", r.Code?.Text) })];
        Plan.Text = ProgrammeWords.Of(Plan, _requests, await ProgrammeEndpoints.GoalsAsync(Plan, _store, ct));
        set.Update(Plan, _versions[Plan.Id!]);
    }

    private void End(WriteSet set, ServiceRequest request, DateOnly from)
    {
        if (!_ended.Add(request))
            throw Missing.Bad("exercise", $"exercise '{request.Code?.Text}' is named twice; say once what is to become of it.");
        var bounds = Timings.Bounds(request) ?? throw new FormatException($"{request.Evidence()} has no first day.");
        var start = Addresses.Day(bounds.Start) ?? Record.Programme.Start;
        // One that would have begun that very day has never held.
        if (start < from)
        {
            (request.Status, bounds.End) = (RequestStatus.Revoked, Timings.Iso(from.AddDays(-1)));
            var last = $"The last day of this is {from.AddDays(-1).ToString("d MMMM yyyy", CultureInfo.InvariantCulture)}.";
            request.PatientInstruction = $"{last}\n{request.PatientInstruction}";
            request.Text = Readable.Of(request.PatientInstruction.Split('\n'));
        }
        else
            request.Status = RequestStatus.EnteredInError;
        set.Update(request, _versions[request.Id!]);
    }

    private DateOnly? LatestResult(string planned) => Record.Sessions.Where(s => s.Report.Exercises.Any(e => e.Planned == planned)).Select(s => (DateOnly?)s.Report.Day).Max();

    private string Known() => string.Join(", ", Going.Select(p => p.Planned.Exercise).Distinct());
}
