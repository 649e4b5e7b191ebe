using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.People;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Programmes;

/// <summary>From a request to an active programme, or a draft of one: CarePlan, prescriptions and goals in one transaction.</summary>
public sealed class PrescribeProgramme(RecordStore store, Recording recording, TimeProvider clock, Host.Settings settings)
{
    public Task<IResult> RunAsync(Posted<ProgrammeRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var request = posted.Body;
        var person = Rules.Bare(request.Person!, "Patient");
        var (patient, _) = await store.NamedAsync<Patient>("person", person, "person", cancel);
        var template = request.Template is { } address ? await store.TemplateAsync("template", address, cancel) : null;
        var level = template is null ? null : LevelOf(template, request);
        var levels = template is null ? [] : TemplateMapping.LevelsOf(template);
        var proposal = template is null ? null : LevelProposal.Of(await store.CapacityAsync(patient, null, cancel), levels);
        var reason = proposal is null ? request.LevelReason! : proposal.ReasonFor(level!.Level!.Value, request.LevelReason, levels);
        var precautions = PrecautionMapping.Of(await store.FindAllAsync<Flag>($"subject=Patient/{person}", cancel));
        var prescribed = await PrescribeAsync(request, level, patient, precautions, cancel);

        var (start, end) = (request.Start!.Value, request.End);
        var now = clock.GetUtcNow();
        var programme = new CarePlan
        {
            Status = request.Status == ProgrammeRequest.Draft ? RequestStatus.Draft : RequestStatus.Active,
            Intent = CarePlan.CarePlanIntent.Plan,
            Title = request.Title ?? (template is null ? "Home programme" : $"{template.Title}, level {level!.Level}: {level.Title}"),
            Subject = new ResourceReference($"Patient/{person}"),
            Period = new Period { Start = Timings.Iso(start), End = end is { } last ? Timings.Iso(last) : null },
            CreatedElement = new FhirDateTime(now),
            InstantiatesCanonical = template is null ? [] : [Canonical.Pinned(template.Url!, template.Version!)],
        };
        programme.Profiled(Profiles.Programme);
        if (request.Author is { } author)
            programme.Author = await author.ReferenceAsync(store, set, cancel);
        if (request.Level is { } number)
            programme.Extension.Add(new Extension(Extensions.Level, new PositiveInt(number)));
        programme.Extension.Add(new Extension(Extensions.LevelReason, new FhirString(reason)));
        if (proposal?.ToExtension() is { } proposed)
            programme.Extension.Add(proposed);
        programme.Extension.Add(new Extension(Extensions.TimeZone, new Code(request.TimeZone ?? settings.TimeZone)));
        programme.Extension.Add(new Extension(Extensions.PainLimit, new Integer(request.PainLimit)));
        programme.Extension.AddRange((request.Reporting ?? new ReportingRequest()).ToExtensions());
        set.Create(programme);

        var requests = prescribed.Select(p => set.Create(p.ToServiceRequest(programme, start, end, now))).ToList();
        var goals = (request.Goals ?? []).Select(g => set.Create(g.ToGoal(person, start))).ToList();
        programme.Activity = [.. requests.Select(r => new CarePlan.ActivityComponent { Reference = new ResourceReference($"ServiceRequest/{r.Id}", r.Code?.Text) })];
        programme.Goal = [.. goals.Select(g => new ResourceReference($"Goal/{g.Id}"))];
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

    private static TemplateLevel LevelOf(PlanDefinition template, ProgrammeRequest request)
    {
        var levels = TemplateMapping.LevelsOf(template);
        return levels.FirstOrDefault(l => l.Level == request.Level)
            ?? throw Missing.Bad("level", $"level is {request.Level}, which the template {request.Template} does not have; use one of: {string.Join(", ", levels.Select(l => l.Level))}.");
    }

    private async Task<List<Prescribed>> PrescribeAsync(ProgrammeRequest request, TemplateLevel? level, Patient patient, IReadOnlyList<PersonPrecaution> precautions, CancellationToken ct)
    {
        var wanted = request.Exercises is { Count: > 0 } listed
            ? listed
            : [.. level!.Exercises!.Select(e => new PrescriptionRequest { Exercise = e.Exercise, Side = AffectedSideOf(patient) })];
        var prescribed = new List<Prescribed>();
        foreach (var (item, i) in wanted.Select((item, i) => (item, i)))
        {
            var exercise = await store.ExerciseAsync($"exercises[{i}].exercise", item.Exercise!, ct);
            var ofLevel = level?.Exercises!.FirstOrDefault(e => e.Exercise == item.Exercise)?.Dosage;
            prescribed.Add(Prescribed.Of(exercise, ofLevel, item, precautions));
        }

        return prescribed;
    }

    private static string AffectedSideOf(Patient patient) => patient.AffectedSide() is { } side and not "none"
        ? side
        : throw Missing.Bad("exercises", "exercises is left out, and the person has no affected side recorded to take the side from; list the exercises, each with its side.");
}
