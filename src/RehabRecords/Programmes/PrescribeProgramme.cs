using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>From a request to an active programme, or a draft of one: CarePlan, prescriptions and goals in one transaction.</summary>
public sealed class PrescribeProgramme(RecordStore store, Recording recording, TimeProvider clock, Host.Settings settings)
{
    public Task<IResult> RunAsync(Posted<ProgrammeRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var request = posted.Body;
        var design = await ProgrammeDesign.ReadAsync(store, request, cancel);
        var now = clock.GetUtcNow();
        var programme = new CarePlan
        {
            Status = request.Status == ProgrammeRequest.Draft ? RequestStatus.Draft : RequestStatus.Active,
            Intent = CarePlan.CarePlanIntent.Plan,
            Subject = new ResourceReference($"Patient/{design.Person}"),
            CreatedElement = new FhirDateTime(now),
        };
        programme.Profiled(Profiles.Programme);
        if (request.Author is { } author)
            programme.Author = await author.ReferenceAsync(store, set, cancel);
        design.Describe(programme, settings.TimeZone);
        set.Create(programme);

        var requests = design.Prescribed.Select(p => set.Create(p.ToServiceRequest(programme, design.Start, design.End, now))).ToList();
        var goals = (request.Goals ?? []).Select(g => set.Create(g.ToGoal(design.Person, design.Start))).ToList();
        ProgrammeDesign.List(programme, requests, goals);
        if (programme.Status == RequestStatus.Active)
            settings.Reporting.Refuse(programme, requests);
        if (request.BriefingRequired)
        {
            set.Create(Briefings.BriefingMapping.ToBrief(programme, now));
            if (programme.Status == RequestStatus.Active)
                programme.Status = RequestStatus.OnHold;
        }

        programme.Text = ProgrammeWords.Of(programme, requests, goals);
        return new Recorded<ProgrammeAnswer>(StatusCodes.Status201Created, $"/api/programmes/{programme.Id}", ProgrammeAnswer.Of(programme, requests, goals));
    }, ct, Clinician.Tries);
}
