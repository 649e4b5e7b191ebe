using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using RehabRecords.Clinical;
using RehabRecords.Exchange;
using RehabRecords.Fhir.Store;
using RehabRecords.Pages.Conflicts;
using RehabRecords.Pages.Received;
using RehabRecords.People;
using RehabRecords.Progress;
using RehabRecords.Tasks;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Person;

/// <summary>Reads what the page of a person shows. Findings are computed from the record as it is; nothing here is stored.</summary>
internal sealed class PersonReads(RecordStore store, ProgressReader progress, ClinicRules rules, Caseload.CaseloadBook book)
{
    /// <summary>Lines of the timeline that are shown unless all are asked for.</summary>
    private const int ShortTimeline = 25;

    /// <exception cref="Fhir.RefusedException">There is no such person.</exception>
    public async Task<PersonView> ReadAsync(string id, string? programme, bool wholeTimeline, CancellationToken ct)
    {
        var person = await PersonEndpoints.GetAsync(id, store, ct);
        var today = book.Today;
        var plans = await store.FindAllAsync<CarePlan>($"subject=Patient/{id}", ct);
        var lines = plans.Select(Line).OrderByDescending(p => p.Start).ThenByDescending(p => p.Id, StringComparer.Ordinal).ToList();
        var notes = await store.FindAllAsync<Composition>(await Replaced.SubjectsAsync(store, id, ct), ct);
        var tasks = await OpenTasks.OfAsync(store, id, ct);
        var view = new PersonView(person, $"{string.Join(' ', person.GivenNames)} {person.FamilyName}".Trim(), Age(person, today), today)
        {
            Programmes = lines,
            Notes = [.. notes.Select(Line).OrderByDescending(n => n.To, StringComparer.Ordinal).ThenByDescending(n => n.Id, StringComparer.Ordinal)],
            Received = await ReceivedEndpoints.OfPersonAsync(store, id, plans.Select(p => p.Id!), ct),
            Conflicts = [.. tasks.Where(ConflictTask.IsOne).Select(t => (t.Id!, ConflictReads.TeamOf(ConflictTask.SenderOf(t))))],
            Tasks = [.. tasks.Where(t => !ConflictTask.IsOne(t)).Select(t => t.ToAnswer())],
            WholeTimeline = wholeTimeline,
        };
        var chosen = lines.Find(p => p.Id == programme) ?? lines.Find(p => p.Status is "active" or "on-hold") ?? lines.Find(p => p.Status is not ("draft" or "entered-in-error"));
        if (chosen is null)
            return view with { Timeline = [.. Timeline.Of(null, view.Notes).Take(wholeTimeline ? int.MaxValue : ShortTimeline)] };
        var record = await progress.ReadAsync(chosen.Id, ct);
        var findings = Findings.Of(record, MeasureCatalogue.Default, rules);
        var last = record.Programme.End is { } end && end < today ? end : today;
        return view with
        {
            Record = record,
            Findings = findings,
            // Up to today, not to the latest result: the days nobody reported are what one looks for here.
            Days = PracticeDay.Calendar(record.Plan, record.Reports, record.Programme.Start, last > record.AsOf ? last : record.AsOf),
            Measures = [.. MeasureSeriesOf.All(record, findings)],
            Changes = [.. Timeline.Changes(record).OrderByDescending(c => c.Day).ThenBy(c => c.Words, StringComparer.Ordinal)],
            Timeline = [.. Timeline.Of(record, view.Notes).Take(wholeTimeline ? int.MaxValue : ShortTimeline)],
        };
    }

    private static ProgrammeLine Line(CarePlan plan) => new(
        plan.Id!, plan.Title ?? "Programme", plan.Status.GetLiteral() ?? "", Addresses.Day(plan.Period?.Start), Addresses.Day(plan.Period?.End),
        plan.GetExtensionValue<PositiveInt>(Extensions.Level)?.Value, plan.GetExtensionValue<FhirString>(Extensions.LevelReason)?.Value);

    private static NoteLineView Line(Composition note) => new(
        note.Id!, note.Title ?? "Note", note.Status.GetLiteral() ?? "", note.Event.FirstOrDefault()?.Period?.Start, note.Event.FirstOrDefault()?.Period?.End, note.Date);

    private static int? Age(PersonAnswer person, DateOnly today) => new PersonContext(BirthDate: Addresses.Day(person.BirthDate)).AgeOn(today);
}
