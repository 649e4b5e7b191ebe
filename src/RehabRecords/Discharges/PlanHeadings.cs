using Hl7.Fhir.Model;
using RehabRecords.Notes;
using RehabRecords.Progress;
using Evidence = RehabRecords.Notes.Evidence;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Discharges;

/// <summary>What the person and carer said and were told, what was practised last, and what remains to be done by whom.</summary>
internal static class PlanHeadings
{
    private const string EmergencyText =
        "Sudden drooping of the face, new weakness, change in speech, chest pain or collapse: call the emergency number (999, 112 or 911) at once. Otherwise follow local policy.";

    public static IEnumerable<Statement> Of(DischargeRecord d) =>
    [
        .. PersonHeadings.Quoted(d, DischargeRules.Wishes, d.Form.Stated.Wishes), .. LastWords(d),
        .. PersonHeadings.Quoted(d, DischargeRules.Information, d.Form.Stated.Information), .. Trainings(d),
        .. PersonHeadings.Quoted(d, DischargeRules.Contact, d.Form.Stated.Contact, "Contact for problems, as {0} states"),
        DischargeRules.Emergency.State("", EmergencyText, PersonHeadings.Stated(d)),
        .. d.AtDischarge.SelectMany(p => AtDischarge(d, p)), .. Actions(d), Review(d), .. LeftOpen(d),
    ];

    private static IEnumerable<Statement> LastWords(DischargeRecord d) =>
        from said in d.Programmes.SelectMany(p => p.Record.Sessions).Where(s => s.Remarks.Count > 0 && s.Reporter.Role != "clinician").GroupBy(s => s.Reporter)
        let last = said.OrderBy(s => s.Report.Day).ThenBy(s => s.Report.DoneAt).Last()
        orderby last.Report.Day, last.Id
        select DischargeRules.LastWords.State(last.Id,
            $"On {Wording.Date(last.Report.Day)} {NotePhrases.Who(last.Reporter)} reported: {NotePhrases.Quote(last.Remarks[^1])}", new Evidence(last.Report.Evidence));

    private static IEnumerable<Statement> Trainings(DischargeRecord d)
    {
        var training = d.Form.Stated.CarerTraining ?? [];
        foreach (var (t, i) in training.Select((t, i) => (t, i)))
            yield return DischargeRules.Training.State($"{i + 1}",
                $"Carer training, as {d.Form.AuthorWords} states: {t.Trained}{(t.On is { } on ? $", on {Wording.Date(on)}" : "")}: {NotePhrases.Quote(t.Topic!)}"
                + (t.Competency is { } seen ? $" Observed afterwards: {NotePhrases.Quote(seen)}" : ""), PersonHeadings.Stated(d));
        var briefings = d.Briefings.Where(b => b.Category.Exists(c => c.Coding.Exists(k => k.Code == "instruction"))).ToList();
        foreach (var briefing in briefings)
        {
            var task = d.Tasks.FirstOrDefault(t => t.Focus.IdOf("Communication") == briefing.Id);
            var state = task?.Status == FhirTask.TaskStatus.Completed
                ? $"acknowledged{(Addresses.Day(task.LastModified) is { } day ? $" on {Wording.Date(day)}" : "")}{(task.Owner?.Display is { } by ? $" by {by}" : "")}"
                : "not acknowledged in the record";
            var to = briefing.Recipient.Select(r => r.Display ?? r.Reference).OfType<string>().ToList();
            yield return DischargeRules.Briefing.State(briefing.Id!,
                $"Briefing sent{(Addresses.Day(briefing.Sent) is { } sent ? $" on {Wording.Date(sent)}" : "")}{(to.Count > 0 ? $" to {Wording.List(to)}" : "")}: {state}.",
                new Evidence(briefing.Evidence(), task is null ? [] : [task.Evidence()]));
        }
        if (training.Count == 0 && briefings.Count == 0)
            yield return DischargeRules.NoTraining.State("", "No carer training and no briefing is recorded.", PersonHeadings.Stated(d));
    }

    private static IEnumerable<Statement> AtDischarge(DischargeRecord d, ProgrammeCourse programme)
    {
        var outline = programme.Outline;
        var last = programme.Last(d.On);
        yield return DischargeRules.AtDischarge.State(outline.Id,
            $"Programme at discharge: “{outline.Title}”{(outline.Level is { } level ? $", level {level}" : "")}, from {Wording.Date(outline.Start)} to {Wording.Date(PersonHeadings.End(programme, d.On))}. "
            + "It ends with the discharge; whether practice goes on is the registered clinician's to say.",
            new Evidence(outline.Evidence, last.Select(p => p.Request.Evidence())));
        foreach (var (prescription, request) in last)
            yield return DischargeRules.Exercise.State(prescription.Planned.Id,
                $"{programme.Record.ExerciseName(prescription.Planned.Id)}: {Wording.Sentence(string.Join(' ', (request.PatientInstruction ?? "no instruction recorded").Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries)))}",
                new Evidence(request.Evidence()));
    }

    private static IEnumerable<Statement> Actions(DischargeRecord d)
    {
        var actions = d.Form.Stated.Actions ?? [];
        foreach (var (a, i) in actions.Select((a, i) => (a, i)))
            yield return DischargeRules.Action.State($"{i + 1}",
                $"Requested by {d.Form.AuthorWords}: {NotePhrases.Quote(a.Text!)} Owner: {Wording.Sentence(a.Owner!)} {(a.Due is { } due ? $"By {Wording.Date(due)}." : "No day was set.")}",
                PersonHeadings.Stated(d));
        if (actions.Count == 0)
            yield return DischargeRules.NoActions.State("", "No further action was named.", PersonHeadings.Stated(d));
    }

    private static Statement Review(DischargeRecord d) => d.Form.Stated.ReviewDate is { } review
        ? DischargeRules.Review.State("", $"Review on {Wording.Date(review)}, as {d.Form.AuthorWords} states.", PersonHeadings.Stated(d))
        : DischargeRules.NoReview.State("", "No review date was given.", PersonHeadings.Stated(d));

    private static IEnumerable<Statement> LeftOpen(DischargeRecord d) =>
        (d.Form.Stated.Overrides ?? []).Select(o => DischargeRules.LeftOpen.State(o.Blocker!.Replace('/', '-'),
            $"Left open at discharge: {Kind(o.Blocker)}. {d.Form.AuthorWords} accepts this, because {NotePhrases.Quote(o.Reason!)}", PersonHeadings.Stated(d)));

    /// <summary>What it is; its address stands in the form behind the statement and says nothing to a reader.</summary>
    private static string Kind(string blocker) => blocker.Split('/')[0] switch
    {
        "Composition" => "a note that was not signed",
        "Task" => "a task that was not done",
        "CarePlan" => "a draft programme that was not handed over",
        "ServiceRequest" => "a prescription that had not begun",
        _ => blocker,
    };
}
