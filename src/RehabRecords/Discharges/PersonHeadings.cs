using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Progress;
using Evidence = RehabRecords.Notes.Evidence;

namespace RehabRecords.Discharges;

/// <summary>Who the summary is about, where from and where to, and who wrote it.</summary>
internal static class PersonHeadings
{
    public static IEnumerable<Statement> Of(DischargeRecord d) =>
    [
        Person(d, DischargeRules.Person, " at discharge"), .. Gp(d), .. Quoted(d, DischargeRules.Referrer, d.Form.Stated.Referrer, "Referred by, as {0} states"), Episode(d), Discharge(d),
        .. Quoted(d, DischargeRules.Diagnosis, d.Form.Stated.Diagnosis, "Diagnosis, as {0} states it"), Condition(d, DischargeRules.Condition, "before discharge"),
        .. Quoted(d, DischargeRules.Legal, d.Form.Stated.Legal), .. Quoted(d, DischargeRules.Social, d.Form.Stated.Social), .. Carers(d),
        .. Quoted(d, DischargeRules.Requirements, d.Form.Stated.Requirements), Author(d), .. Recipients(d),
    ];

    /// <summary>What the clinician stated, in the clinician's words.</summary>
    public static IEnumerable<Statement> Quoted(DischargeRecord d, NoteRule rule, string? words, string lead = "As {0} states")
    {
        if (words is not null)
            yield return rule.State("", $"{lead.Replace("{0}", d.Form.AuthorWords, StringComparison.Ordinal)}: {NotePhrases.Quote(words)}", Stated(d));
    }

    public static Evidence Stated(DischargeRecord d) => new(d.Form.Evidence);

    /// <param name="when">After the years of age; begins with a blank.</param>
    public static Statement Person(DischargeRecord d, NoteRule rule, string when)
    {
        var patient = d.Patient;
        var born = Addresses.Day(patient.BirthDate);
        var parts = new List<string> { d.Whole.Record.Person.Name };
        if (born is { } day)
            parts.Add($"born {Wording.Date(day)} ({Wording.Count(Years(day, d.On), "year")}{when})");
        if (patient.Gender is { } sex)
            parts.Add(sex.ToString().ToLowerInvariant());
        // Where the record was first made is for machines: Provenance and the exchange tell it.
        var identifiers = patient.Identifier.Where(i => i.Value is not null && i.System != Exchange.Origin.System).Select(Numbered).ToList();
        var reach = patient.Address.Select(a => a.Text ?? string.Join(", ", a.Line.Append(a.City).Append(a.PostalCode).Where(l => !string.IsNullOrEmpty(l))))
            .Concat(patient.Telecom.Select(t => t.Value)).Where(r => !string.IsNullOrWhiteSpace(r)).ToList();
        return rule.State("",
            $"{string.Join(", ", parts)}.{(identifiers.Count == 0 ? "" : $" Known as {string.Join("; ", identifiers)}.")}{(reach.Count == 0 ? "" : $" {Wording.Sentence(string.Join("; ", reach))}")}",
            new Evidence(patient.Evidence()));
    }

    // A reader knows who gave the number better by name than by the address that makes it unique.
    private static string Numbered(Identifier identifier) =>
        (identifier.Assigner?.Display ?? identifier.Type?.Text ?? identifier.System) is { } giver ? $"{identifier.Value} ({giver})" : identifier.Value!;

    private static int Years(DateOnly born, DateOnly on) => on.Year - born.Year - (born.AddYears(on.Year - born.Year) > on ? 1 : 0);

    private static IEnumerable<Statement> Gp(DischargeRecord d)
    {
        var names = d.Patient.GeneralPractitioner.Select(g => g.Display ?? g.Reference).OfType<string>().ToList();
        if (names.Count > 0)
            yield return DischargeRules.Gp.State("", $"GP practice: {Wording.Sentence(Wording.List(names))}", new Evidence(d.Patient.Evidence()));
    }

    private static Statement Episode(DischargeRecord d)
    {
        var programmes = d.Programmes.Select(p => $"“{p.Outline.Title}”{(p.Outline.Level is { } level ? $", level {level}" : "")}, from {Wording.Date(p.Outline.Start)} to {Wording.Date(End(p, d.On))}");
        return DischargeRules.Episode.State("",
            $"Episode of care from {Wording.Date(d.Episode.Start)}: {Wording.Count(d.Programmes.Count, "home programme")}: {string.Join("; ", programmes)}.",
            new Evidence(d.Programmes[0].Outline.Evidence, d.Programmes.Skip(1).Select(p => p.Outline.Evidence)));
    }

    /// <summary>A programme that goes beyond the day of discharge ends with it.</summary>
    public static DateOnly End(ProgrammeCourse programme, DateOnly on) => programme.Outline.End is { } end && end < on ? end : on;

    private static Statement Discharge(DischargeRecord d) => DischargeRules.Discharge.State("",
        $"Discharged on {Wording.Date(d.On)} by {d.Form.AuthorWords}. Destination: {NotePhrases.Quote(d.Form.Stated.Destination!)} Reason: {NotePhrases.Quote(d.Form.Stated.Reason!)}",
        Stated(d));

    public static Statement Condition(DischargeRecord d, NoteRule rule, string when)
    {
        var person = d.Whole.Record.Person;
        var onset = person.Context.Onset is { } day
            ? $"onset {Wording.Date(day)} ({Wording.Count(d.On.DayNumber - day.DayNumber, "day")} {when})"
            : "onset not recorded";
        return rule.State("",
            $"Affected side {person.Context.AffectedSide?.Code() ?? "not recorded"}; dominant hand {person.Context.DominantHand?.Code() ?? "not recorded"}; {onset}.",
            new Evidence(person.Evidence));
    }

    private static IEnumerable<Statement> Carers(DischargeRecord d) =>
        from carer in d.Carers
        where carer.Active != false
        let name = carer.Name.FirstOrDefault()
        let relationship = carer.Relationship.FirstOrDefault()
        let words = new[] { name?.Text ?? string.Join(' ', (name?.Given ?? []).Append(name?.Family).Where(n => !string.IsNullOrEmpty(n))), relationship?.Text ?? relationship?.Coding.FirstOrDefault()?.Code, carer.Telecom.FirstOrDefault()?.Value }
        select DischargeRules.Carer.State(carer.Id!, $"Carer: {Wording.Sentence(string.Join(", ", words.Where(w => !string.IsNullOrEmpty(w))))}", new Evidence(carer.Evidence()));

    private static Statement Author(DischargeRecord d) => DischargeRules.Author.State("",
        $"Discharge form filled in by {d.Form.AuthorWords}; the rest was drafted by software from the record.", Stated(d));

    private static IEnumerable<Statement> Recipients(DischargeRecord d) =>
        d.Form.Stated.Distribution!.Select((r, i) => DischargeRules.Recipient.State($"{i + 1}",
            Wording.Sentence(string.Join(", ", new[] { r.Name, r.Role, r.Organisation }.Where(p => !string.IsNullOrEmpty(p)))), Stated(d)));
}
