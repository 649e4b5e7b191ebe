using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.People;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Programmes;

/// <summary>
/// What a request for a programme asks for, with everything it names read from the record. A new programme and a draft that
/// is rewritten are made from the same design.
/// </summary>
internal sealed record ProgrammeDesign(
    ProgrammeRequest Request, string Person, PlanDefinition? Template, TemplateLevel? Level, LevelProposal? Proposal, string Reason, IReadOnlyList<Prescribed> Prescribed)
{
    public DateOnly Start => Request.Start!.Value;

    public DateOnly? End => Request.End;

    public static async Task<ProgrammeDesign> ReadAsync(RecordStore store, ProgrammeRequest request, CancellationToken ct)
    {
        var person = Rules.Bare(request.Person!, "Patient");
        var (patient, _) = await store.NamedAsync<Patient>("person", person, "person", ct);
        var template = request.Template is { } address ? await store.TemplateAsync("template", address, ct) : null;
        var levels = template is null ? [] : TemplateMapping.LevelsOf(template);
        var level = template is null ? null : LevelOf(levels, request);
        var proposal = template is null ? null : LevelProposal.Of(await store.CapacityAsync(patient, null, ct), levels);
        var reason = proposal is null ? request.LevelReason! : proposal.ReasonFor(level!.Level!.Value, request.LevelReason, levels);
        var precautions = PrecautionMapping.Of(await store.FindAllAsync<Flag>($"subject=Patient/{person}", ct));
        return new(request, person, template, level, proposal, reason, await PrescribeAsync(store, request, level, patient, precautions, ct));
    }

    /// <summary>Writes what the programme itself says of the design; prescriptions and goals are resources of their own.</summary>
    /// <param name="zone">The clinic's time zone, for a request that names none.</param>
    public void Describe(CarePlan programme, string zone)
    {
        programme.Title = Request.Title ?? (Template is null ? "Home programme" : $"{Template.Title}, level {Level!.Level}: {Level.Title}");
        programme.Period = new Period { Start = Timings.Iso(Start), End = End is { } last ? Timings.Iso(last) : null };
        programme.InstantiatesCanonical = Template is null ? [] : [Canonical.Pinned(Template.Url!, Template.Version!)];
        foreach (var url in new[] { Extensions.Level, Extensions.LevelReason, Extensions.LevelProposal, Extensions.TimeZone, Extensions.PainLimit, Extensions.Reporting })
            programme.RemoveExtension(url);
        if (Request.Level is { } number)
            programme.Extension.Add(new Extension(Extensions.Level, new PositiveInt(number)));
        programme.Extension.Add(new Extension(Extensions.LevelReason, new FhirString(Reason)));
        if (Proposal?.ToExtension() is { } proposed)
            programme.Extension.Add(proposed);
        programme.Extension.Add(new Extension(Extensions.TimeZone, new Code(Request.TimeZone ?? zone)));
        programme.Extension.Add(new Extension(Extensions.PainLimit, new Integer(Request.PainLimit)));
        programme.Extension.AddRange((Request.Reporting ?? new ReportingRequest()).ToExtensions());
    }

    /// <summary>Lists in the programme what was made of the design.</summary>
    public static void List(CarePlan programme, IReadOnlyList<ServiceRequest> requests, IReadOnlyList<Goal> goals)
    {
        programme.Activity = [.. requests.Select(r => new CarePlan.ActivityComponent { Reference = new ResourceReference($"ServiceRequest/{r.Id}", r.Code?.Text) })];
        programme.Goal = [.. goals.Select(g => new ResourceReference($"Goal/{g.Id}"))];
    }

    private static TemplateLevel LevelOf(IReadOnlyList<TemplateLevel> levels, ProgrammeRequest request) =>
        levels.FirstOrDefault(l => l.Level == request.Level)
        ?? throw Missing.Bad("level", $"level is {request.Level}, which the template {request.Template} does not have; use one of: {string.Join(", ", levels.Select(l => l.Level))}.");

    private static async Task<List<Prescribed>> PrescribeAsync(
        RecordStore store, ProgrammeRequest request, TemplateLevel? level, Patient patient, IReadOnlyList<PersonPrecaution> precautions, CancellationToken ct)
    {
        var wanted = request.Exercises is { Count: > 0 } listed
            ? listed
            : [.. level!.Exercises!.Select(e => new PrescriptionRequest { Exercise = e.Exercise, Side = AffectedSideOf(patient) })];
        var prescribed = new List<Prescribed>();
        foreach (var (item, i) in wanted.Select((item, i) => (item, i)))
        {
            var exercise = await store.ExerciseAsync($"exercises[{i}].exercise", item.Exercise!, ct);
            var ofLevel = level?.Exercises!.FirstOrDefault(e => e.Exercise == item.Exercise)?.Dosage;
            prescribed.Add(Programmes.Prescribed.Of(exercise, ofLevel, item, precautions));
        }

        return prescribed;
    }

    private static string AffectedSideOf(Patient patient) => patient.AffectedSide() is { } side and not "none"
        ? side
        : throw Missing.Bad("exercises", "exercises is left out, and the person has no affected side recorded to take the side from; list the exercises, each with its side.");
}
