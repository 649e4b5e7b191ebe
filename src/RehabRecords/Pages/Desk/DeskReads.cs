using Hl7.Fhir.Model;
using RehabRecords.Briefings;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Library;
using RehabRecords.Pages.Sheets;
using RehabRecords.People;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Desk;

/// <summary>Reads what the desk shows: the programme, what it lacks, and what the record says of the person now.</summary>
internal sealed class DeskReads(RecordStore store, Settings settings, SheetReads sheets, Brief briefings, Caseload.CaseloadBook book)
{
    /// <exception cref="Fhir.RefusedException">There is no such programme.</exception>
    public async Task<DeskView> ReadAsync(string id, ClinicianFields who, CancellationToken ct)
    {
        var (plan, version) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        var programme = await ProgrammeEndpoints.ReadAsync(plan, store, ct);
        var person = Rules.Bare(plan.Subject.Reference!, "Patient");
        var (patient, _) = await store.RoutedAsync<Patient>(person, "person", ct);
        var precautions = PrecautionMapping.Of(await store.FindAllAsync<Flag>($"subject=Patient/{person}", ct));
        return new DeskView(programme, version, person, NameOf(patient))
        {
            Fields = DeskFields.Of(programme, who),
            Notes = programme.Exercises.GroupBy(e => ExerciseNote.Key(e.Exercise, e.Side)).ToDictionary(g => g.Key, g => NoteOf(g.First(), precautions), StringComparer.Ordinal),
            Library = Choices(await ExercisesAsync(ct), programme.Exercises),
            AffectedSide = patient.AffectedSide(),
            Precautions = [.. precautions.Select(p => CodeLists.Precaution.Words(p.Code))],
            Reporting = await ReportingEndpoints.GetAsync(id, store, settings, ct),
            Briefing = await briefings.ReadAsync(id, ct),
            Carer = (await store.CarerOfAsync(person, ct))?.Name.FirstOrDefault()?.Text,
            ReadingGrade = (await sheets.ReadAsync(id, null, null, ct)).Grade,
            Who = who,
        };
    }

    public async Task<NewProgrammeView> NewAsync(string person, ClinicianFields who, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(person, "person", ct);
        var capacity = await store.CapacityAsync(patient, null, ct);
        var exercises = await ExercisesAsync(ct);
        var titles = exercises.DistinctBy(e => e.Exercise).ToDictionary(e => e.Exercise, e => e.Title ?? e.Exercise, StringComparer.Ordinal);
        var templates = (await store.FindAllAsync<PlanDefinition>("", ct)).Where(LibraryEndpoints.IsOurs).Select(t => t.ToAnswer());
        return new NewProgrammeView(person, NameOf(patient), patient.AffectedSide(), settings.TimeZone)
        {
            Templates = [.. LibraryVersions.Latest(templates, t => t.Template).Select(t => Choice(t, LevelProposal.Of(capacity, t.Levels), titles))],
            Library = Choices(exercises, []),
            Fields = new NewFields
            {
                Start = Timings.Iso(book.Today),
                TimeZone = settings.TimeZone,
                Side = patient.AffectedSide() is { } side and not "none" ? side : null,
                Author = who,
                Once = Guid.CreateVersion7().ToString("N"),
            },
        };
    }

    /// <summary>Exercises of each level of the template that was chosen; none where it is not of the library.</summary>
    public async Task<Func<string, int, IReadOnlyList<string>>> LevelsAsync(string? from, CancellationToken ct)
    {
        var address = from?.Split(' ')[0] ?? "";
        var levels = await store.ByAddressAsync<PlanDefinition>("template", address, ct) is { } template ? TemplateMapping.LevelsOf(template) : [];
        return (_, level) => [.. (levels.FirstOrDefault(l => l.Level == level)?.Exercises ?? []).Select(e => e.Exercise!)];
    }

    private static TemplateChoice Choice(TemplateAnswer template, LevelProposal proposal, Dictionary<string, string> titles) => new(
        template.Template, template.Title ?? template.Template, template.Description,
        [.. template.Levels.Select(l => new LevelChoice(
            l.Level ?? 0, l.Title ?? $"Level {l.Level}", l.StartsWhen, [.. (l.CapacityBands ?? []).Select(CodeLists.CapacityBand.Words)],
            [.. l.Exercises!.Select(e => titles.GetValueOrDefault(e.Exercise!, e.Exercise!))], l.Level == proposal.Level))],
        PlainWords.Sentence(proposal.Text));

    /// <summary>The newest version of each exercise; a draft keeps an older one that it names.</summary>
    private static IReadOnlyList<LibraryChoice> Choices(List<ExerciseAnswer> all, IReadOnlyList<PrescriptionAnswer> prescribed) =>
        [.. LibraryVersions.Latest(all, e => e.Exercise).Concat(all.Where(e => prescribed.Any(p => p.Exercise == e.Exercise))).DistinctBy(e => e.Exercise)
            .Select(e => new LibraryChoice(e.Exercise, e.Title ?? e.Exercise)).OrderBy(c => c.Title, StringComparer.OrdinalIgnoreCase)];

    private async Task<List<ExerciseAnswer>> ExercisesAsync(CancellationToken ct) =>
        [.. (await store.FindAllAsync<ActivityDefinition>("", ct)).Where(LibraryEndpoints.IsOurs).Select(d => d.ToAnswer())];

    /// <summary>The cautions as they follow from the record now, beside what the stored prescription tells the person.</summary>
    private static ExerciseNote NoteOf(PrescriptionAnswer prescribed, IReadOnlyList<PersonPrecaution> precautions)
    {
        var own = prescribed.Cautions.Where(c => c.Reason is null).ToList();
        var told = prescribed.Cautions.Where(c => c.Reason is not null).ToList();
        var applied = AppliedCaution.For(PrecautionMapping.Tags(own.Select(c => c.Code), prescribed.Position), precautions);
        return new ExerciseNote(
            prescribed.Title ?? prescribed.Exercise ?? "exercise",
            prescribed.Dosage is { } dosage ? PlainWords.Dosage(dosage) : "",
            Timings.Often(Timings.Whole(prescribed.Schedule)),
            [
                .. own.Select(c => new CautionLine(Words(c.Code, c.Condition), c.Stop, c.Text ?? "", null, null, false)),
                .. applied.Select(a => new CautionLine(Words(a.Caution.Code, a.Caution.Condition), a.Caution.Stop, a.Caution.Text, a.Reason, a.Source,
                    !told.Exists(t => t.Code == a.Caution.Code && t.Text == a.Caution.Text && t.Reason == a.Reason))),
            ],
            [.. told.Where(t => applied.All(a => a.Caution.Code != t.Code || a.Caution.Text != t.Text)).Select(t => t.Text ?? "")]);
    }

    private static string Words(string? code, string? condition) =>
        $"{CodeLists.Caution.Words(code ?? "general")}{(condition is null ? "" : $", {condition}")}";

    internal static string NameOf(Patient patient) => PersonMapping.ToAnswer(patient, null, []) is var answer
        ? $"{string.Join(' ', answer.GivenNames)} {answer.FamilyName}".Trim() : "";
}
