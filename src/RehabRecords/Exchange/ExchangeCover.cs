using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>
/// The readable face of what is handed over: the home sheet first, then everything else in the order in which a therapist
/// reads it. Each section lists the resources it speaks of.
/// </summary>
internal static class ExchangeCover
{
    private const string Nothing = "Nothing is recorded.";

    /// <param name="url">The full address of "Type/id".</param>
    public static Composition Of(ExchangeContent content, Organization recipient, Consent consent, Device software, Func<string, string> url)
    {
        var (plan, person) = (content.Programme, content.Person);
        var name = string.Join(' ', (person.Name.FirstOrDefault()?.Given ?? []).Append(person.Name.FirstOrDefault()?.Family ?? person.Name.FirstOrDefault()?.Text).OfType<string>());
        var cover = new Composition
        {
            Status = CompositionStatus.Final,
            Type = new CodeableConcept(Systems.Loinc, "56447-6", "Plan of care note", null),
            Subject = new ResourceReference(url($"Patient/{person.Id}"), name),
            Author = [new ResourceReference($"urn:uuid:{software.Id}", software.DeviceName[0].Name)],
            Title = $"Home programme of {name}, handed over to {recipient.Name}",
            Confidentiality = Composition.V3ConfidentialityClassification.R,
            Event = [new Composition.EventComponent { Detail = [new ResourceReference(url($"CarePlan/{plan.Id}"), plan.Title)] }],
        };
        foreach (var section in Sections(content, recipient, consent))
        {
            var references = section.About.Select(r => new ResourceReference(url($"{r.TypeName}/{r.Id}"))).DistinctBy(r => r.Reference).ToList();
            cover.Section.Add(new Composition.SectionComponent
            {
                Title = section.Title,
                Code = section.Code is null ? null : new CodeableConcept(Systems.Loinc, section.Code),
                Text = Readable.Of(section.Lines.Any(l => !string.IsNullOrWhiteSpace(l)) ? section.Lines : [Nothing]),
                Entry = references,
                EmptyReason = references.Count > 0 ? null : new CodeableConcept("http://terminology.hl7.org/CodeSystem/list-empty-reason", "unavailable"),
            });
        }

        cover.Text = Readable.Of(
            $"{cover.Title}.",
            PlainWords.Sentence($"{plan.Title}, status {plan.StatusElement?.JsonValue}"),
            "Put together by software from the record; each part keeps the author, date and version it has there. A registered clinician decides what to do with it.",
            "The prescriptions say in plain words everything that is coded in them.");
        return cover;
    }

    private sealed record Part(string Title, string? Code, IEnumerable<string?> Lines, IEnumerable<Resource> About);

    private static IEnumerable<Part> Sections(ExchangeContent content, Organization recipient, Consent consent)
    {
        var active = content.Prescriptions.Where(r => r.Status is RequestStatus.Active or RequestStatus.OnHold or RequestStatus.Draft).ToList();
        var earlier = content.Prescriptions.Except(active).ToList();
        var flags = content.Of<Flag>().OrderBy(f => f.Status == Flag.FlagStatus.Active ? 0 : 1).ThenBy(f => f.Id, StringComparer.Ordinal).ToList();
        var tasks = content.Of<FhirTask>().Where(t => t.Code.CodeIn(Systems.Decision) is null).ToList();
        yield return new("Home sheet", "69730-0", HomeSheet.Lines(content.Programme, active), active);
        yield return new("Programme", "18776-5", [.. Narratives.Lines(content.Programme), .. earlier.Select(r => $"Earlier: {string.Join(' ', Narratives.Lines(r).Take(2))}")],
            content.Of<CarePlan>().OrderBy(p => p.Id == content.Programme.Id ? 0 : 1).Concat<Resource>(earlier));
        yield return new("Precautions and red flags", "104605-1", flags.SelectMany(f => Narratives.Lines(f).Select(l => $"{l} ({f.StatusElement?.JsonValue})")), flags);
        var goals = content.Of<Goal>().ToList();
        yield return new("Goals", "61146-7", goals.SelectMany(GoalLines), goals);
        yield return new("Measures: first and latest", "30954-2", Measures(content), content.Measures);
        var decisions = content.Decisions.ToList();
        yield return new("Decisions so far", null, decisions.SelectMany(d => Narratives.Lines(d)), decisions);
        var sessions = content.Sessions;
        var results = content.Of<Observation>().Where(o => !ExchangeContent.IsMeasure(o)).ToList();
        yield return new("Sessions", "62387-6", sessions.SelectMany(s => SessionLines(s, content, results)), [.. sessions, .. results, .. content.Of<AdverseEvent>()]);
        var briefings = content.Of<Communication>().ToList();
        yield return new("Briefing of the carer", null, briefings.SelectMany(Narratives.Lines).Concat(tasks.SelectMany(Narratives.Lines)), [.. briefings, .. tasks]);
        List<DomainResource> team = [.. content.Of<CareTeam>(), .. content.Of<RelatedPerson>(), .. content.Of<Practitioner>(), .. content.Of<PractitionerRole>(), .. content.Of<Organization>()];
        yield return new("Team", null, team.SelectMany(Narratives.Lines), team);
        yield return new("Consent to share", null, Narratives.Lines(consent).Prepend(PlainWords.Sentence($"Shared with {recipient.Name}")), [consent]);
        List<DomainResource> library = [.. content.Of<PlanDefinition>(), .. content.Of<ActivityDefinition>()];
        yield return new("Library, as prescribed from", null, library.SelectMany(Definition), library);
        var provenance = content.Of<Provenance>().ToList();
        yield return new("Where it comes from", null, provenance.SelectMany(Narratives.Lines).DefaultIfEmpty("Each resource names its author; nothing more is recorded."), provenance);
        var others = content.Current.Except(
            [content.Person, .. content.Of<CarePlan>(), .. content.Of<ServiceRequest>(), .. flags, .. goals, .. content.Of<Observation>(), .. content.Of<FhirTask>(), .. sessions,
                .. content.Of<AdverseEvent>(), .. briefings, .. team, consent, .. library, .. provenance]).ToList();
        if (others.Count > 0)
            yield return new("Further", null, others.OfType<DomainResource>().SelectMany(Narratives.Lines), others);
    }

    private static IEnumerable<string> GoalLines(Goal goal) => Narratives.Lines(goal) is { Count: > 0 } lines ? lines
        : [PlainWords.Sentence($"{goal.Description.Text}, {goal.LifecycleStatusElement?.JsonValue}"),
            .. goal.GetExtensions(Extensions.AttainmentLevel).Select(l => PlainWords.Sentence($"{l.GetExtensionValue<Integer>("level")?.Value:+0;-0;0}: {l.GetExtensionValue<FhirString>("description")?.Value}"))];

    private static IEnumerable<string> Measures(ExchangeContent content) => content.Measures.GroupBy(ExchangeContent.Series).SelectMany(series =>
    {
        var ordered = series.ToList();
        return ordered.Count == 1 ? Line("Measured once", ordered[0]) : Line("First", ordered[0]).Concat(Line("Latest", ordered[^1]));
    });

    private static IEnumerable<string> Line(string which, Observation measure) => [$"{which}: {string.Join(' ', Narratives.Lines(measure))}"];

    private static IEnumerable<string> SessionLines(Procedure session, ExchangeContent content, List<Observation> results) =>
        [.. Narratives.Lines(session),
            .. results.Where(o => o.PartOf.Exists(p => p.IdOf("Procedure") == session.Id)).SelectMany(o => Narratives.Lines(o)),
            .. content.Of<AdverseEvent>().Where(h => h.SuspectEntity.Exists(s => s.Instance.IdOf("Procedure") == session.Id)).SelectMany(Narratives.Lines)];

    private static IEnumerable<string> Definition(DomainResource definition) =>
        [definition switch
        {
            ActivityDefinition exercise => $"{exercise.Title}, version {exercise.Version}: {exercise.Purpose}",
            PlanDefinition template => $"{template.Title}, version {template.Version}: {template.Description}",
            _ => "",
        }];
}
