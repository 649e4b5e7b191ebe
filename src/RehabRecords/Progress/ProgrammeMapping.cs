using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Terms;
using FhirTask = Hl7.Fhir.Model.Task;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Progress;

/// <summary>
/// Resources as the plain record of one programme, in any order of arrival. This folder is the only place where FHIR
/// becomes input of the clinical calculations.
/// </summary>
internal static class ProgrammeMapping
{
    /// <summary>A closing measure is often taken at the visit after the last day; up to this many days later it still belongs. Common practice, no source.</summary>
    public const int ClosingDays = 14;

    public static ProgrammeRecord Map(string programmeId, IReadOnlyCollection<Resource> resources) =>
        Map(programmeId, [.. resources.Where(r => r is not Observation)], [.. resources.OfType<Observation>().Select(RecordedResult.Of)]);

    /// <param name="resources">All but Observations.</param>
    /// <param name="recorded">What the Observations say.</param>
    public static ProgrammeRecord Map(string programmeId, IReadOnlyCollection<Resource> resources, IReadOnlyCollection<RecordedResult> recorded)
    {
        var plan = resources.OfType<CarePlan>().Single(p => p.Id == programmeId);
        var programme = PlanMapping.Outline(plan);
        var requests = resources.OfType<ServiceRequest>()
            .Where(r => r.Status != RequestStatus.EnteredInError && r.BasedOn.Any(b => b.IdOf("CarePlan") == programmeId)).ToList();
        var firstOf = PrescriptionVersions.FirstOf(requests);
        var tasks = resources.OfType<FhirTask>().Where(t => DecisionMapping.IsDecision(t) && t.BasedOn.Any(b => b.IdOf("CarePlan") == programmeId)).ToList();
        var decisions = tasks.Select(t => DecisionMapping.Of(t, firstOf)).OrderBy(d => d.At).ThenBy(d => d.Id, StringComparer.Ordinal).ToList();
        var pauses = PauseMapping.Of(plan);
        var days = pauses.Select(p => p.Days).ToList();
        var locked = decisions.Where(d => d.Lock is not null).GroupBy(d => d.Planned).Where(g => g.Last().Lock == true).Select(g => g.Key).ToHashSet();
        var procedures = resources.OfType<Procedure>().Where(p => p.BasedOn.Any(b => b.IdOf("CarePlan") == programmeId)).ToList();
        var standing = recorded.Where(r => !r.Withdrawn).ToList();
        var results = standing.ToLookup(r => r.Session ?? "");
        var harms = resources.OfType<AdverseEvent>()
            .ToLookup(h => h.SuspectEntity.Select(s => s.Instance.IdOf("Procedure")).FirstOrDefault(id => id is not null) ?? "");

        var sessions = (from procedure in procedures
                        where procedure.Status is EventStatus.Completed or EventStatus.NotDone
                        let session = SessionMapping.Session(procedure, results[procedure.Identity()], harms[procedure.Identity()], programme.TimeZone, firstOf)
                        where session is not null
                        orderby session.Report.Day, session.Report.DoneAt ?? DateTimeOffset.MaxValue, session.Id
                        select session).ToList();
        return new ProgrammeRecord(Person(resources, plan), programme)
        {
            Prescriptions =
            [
                .. InOrderOfPlan(plan, requests).Select(r => PlanMapping.Prescription(r, firstOf[r.Identity()], locked.Contains(firstOf[r.Identity()]), programme, days)),
                .. PrescriptionVersions.HoldAgain(requests, firstOf).OrderBy(a => a.From).ThenBy(a => a.Request.Id, StringComparer.Ordinal)
                    .Select(a => PlanMapping.Prescription(a.Request, firstOf[a.Request.Identity()], locked.Contains(firstOf[a.Request.Identity()]), programme, days).From(a.From)),
            ],
            Sessions = sessions,
            Harms = [.. sessions.SelectMany(s => harms[s.Id].Select(h => Harm(h, s)))
                .OrderBy(h => h.Day).ThenBy(h => h.Report.Evidence, StringComparer.Ordinal)],
            Measures = Measures(standing, programme),
            Goals = [.. resources.OfType<Goal>().Where(g => plan.Goal.Any(r => r.IdOf("Goal") == g.Id))
                .OrderBy(g => plan.Goal.FindIndex(r => r.IdOf("Goal") == g.Id)).Select(g => MeasureMapping.Goal(g, standing))],
            RedFlags = [.. resources.OfType<Flag>().Where(f => f.Category.Any(c => c.CodeIn(Systems.FlagCategory) == FlagCategory.RedFlag))
                .Select(RedFlag).OrderBy(f => f.Since).ThenBy(f => f.Code, StringComparer.Ordinal).ThenBy(f => f.Id, StringComparer.Ordinal)],
            Precautions = PrecautionMapping.Of(resources.OfType<Flag>()),
            Decisions = decisions,
            Pauses = pauses,
            EvidenceAt = EvidenceAt(plan, pauses, decisions, requests, procedures, standing, resources.OfType<Flag>()),
            Resources = [.. resources],
            Results = [.. recorded],
        };
    }

    private static PersonRecord Person(IReadOnlyCollection<Resource> resources, CarePlan plan)
    {
        var person = resources.OfType<Patient>().Single(p => p.Id == plan.Subject.IdOf("Patient"));
        var context = person.GetExtension(Extensions.RehabilitationContext);
        var name = person.Name.FirstOrDefault();
        return new PersonRecord(
            person.Identity(),
            person.Evidence(),
            name is null ? "(no name recorded)" : name.Text ?? string.Join(' ', name.Given.Append(name.Family).Where(part => !string.IsNullOrEmpty(part))),
            new PersonContext(
                Codes.TryParse<Side>(context?.GetExtensionValue<Code>("affectedSide")?.Value),
                Codes.TryParse<Side>(context?.GetExtensionValue<Code>("dominantHand")?.Value),
                Addresses.Day(context?.GetExtensionValue<Date>("onset")?.Value),
                Addresses.Day(person.BirthDate),
                person.Gender switch
                {
                    AdministrativeGender.Female => Sex.Female,
                    AdministrativeGender.Male => Sex.Male,
                    AdministrativeGender.Other => Sex.Other,
                    AdministrativeGender.Unknown => Sex.Unknown,
                    _ => null,
                }));
    }

    /// <summary>As the programme lists them; a prescription that it does not list comes last.</summary>
    private static IEnumerable<ServiceRequest> InOrderOfPlan(CarePlan plan, IEnumerable<ServiceRequest> requests)
    {
        var places = plan.Activity.Select((a, place) => (Id: a.Reference.IdOf("ServiceRequest"), Place: place))
            .Where(a => a.Id is not null).GroupBy(a => a.Id!).ToDictionary(g => g.Key, g => g.First().Place);
        return requests.OrderBy(r => places.GetValueOrDefault(r.Identity(), int.MaxValue)).ThenBy(r => r.Id, StringComparer.Ordinal);
    }

    /// <summary>
    /// Results from the first day on, and of each measure and side the last one before it, which is the baseline. Results
    /// long after the end belong to what came next.
    /// </summary>
    private static List<MeasureResult> Measures(IReadOnlyCollection<RecordedResult> recorded, ProgrammeOutline programme)
    {
        var totals = MeasureMapping.Totals(recorded);
        var results = recorded.Where(r => r.Measure is not null)
            .Select(r => r.Measure! with { PartOf = totals.GetValueOrDefault(r.Id) })
            .Select(result => (Result: result, Day: Schedule.DayOf(result.MeasuredAt, programme.TimeZone)))
            .Where(r => programme.End is not { } end || r.Day <= end.AddDays(ClosingDays))
            .OrderBy(r => r.Result.MeasuredAt).ThenBy(r => r.Result.Evidence, StringComparer.Ordinal)
            .ToList();
        var baselines = results.Where(r => r.Day < programme.Start)
            .GroupBy(r => (r.Result.Measure, r.Result.Side, Variant: VariantOf(r.Result), r.Result.Site)).Select(g => g.Last().Result).ToHashSet();
        return [.. results.Where(r => r.Day >= programme.Start || baselines.Contains(r.Result)).Select(r => r.Result)];
    }

    private static string? VariantOf(MeasureResult result) =>
        MeasureCatalogue.Default.Find(result.Measure) is { } measure ? measure.VariantOf(result) : result.Variant;

    private static Harm Harm(AdverseEvent harm, Session session) => new(
        SessionMapping.Harm(harm),
        Addresses.Day(harm.Date) ?? session.Report.Day,
        harm.Recorder is null ? session.Reporter : SessionMapping.ReporterOf(harm.Recorder),
        harm.Event?.Text);

    private static RaisedRedFlag RedFlag(Flag flag)
    {
        var cleared = flag.GetExtension(Extensions.FlagCleared);
        var since = flag.Period?.Start;
        return new RaisedRedFlag(
            flag.Identity(), flag.Evidence(), flag.Code.CodeIn(Systems.RedFlag) ?? "",
            Addresses.Instant(since) ?? (Addresses.Day(since) is { } day ? new DateTimeOffset(day, TimeOnly.MinValue, TimeSpan.Zero) : DateTimeOffset.MinValue),
            flag.Status == Flag.FlagStatus.Active && cleared is null,
            flag.GetExtensionValue<ResourceReference>(Extensions.FlagSource)?.Reference,
            flag.Code?.Text);
    }

    /// <summary>
    /// By what the record itself says of its arrival, so that a note is the same when it is drafted together with a new
    /// session and when it is computed again from the store. That is why what a clinician decides is dated by the decision.
    /// </summary>
    private static DateTimeOffset EvidenceAt(
        CarePlan plan, IEnumerable<ProgrammePause> pauses, IEnumerable<Decision> decisions, IEnumerable<ServiceRequest> requests, IEnumerable<Procedure> procedures, IEnumerable<RecordedResult> results, IEnumerable<Flag> flags)
    {
        var arrivals = procedures.Select(SessionMapping.RecordedAt)
            .Concat(results.Select(r => r.Arrived))
            .Concat(flags.Select(f => PrecautionMapping.IsPrecaution(f)
                ? f.Meta?.LastUpdated
                : f.GetExtension(Extensions.FlagCleared)?.GetExtensionValue<Instant>("at")?.Value))
            .Concat(requests.Select(r => Addresses.Instant(r.AuthoredOn) ?? r.Meta?.LastUpdated))
            .Concat(decisions.Select(d => (DateTimeOffset?)d.At))
            .Concat(pauses.SelectMany(p => new[] { p.At, p.EndedAt }))
            .Append(Addresses.Instant(plan.Created) ?? plan.Meta?.LastUpdated)
            .OfType<DateTimeOffset>()
            .ToList();
        return arrivals.Count == 0 ? DateTimeOffset.UnixEpoch : arrivals.Max().ToUniversalTime();
    }
}
