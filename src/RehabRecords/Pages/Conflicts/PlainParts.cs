using Hl7.Fhir.Model;
using RehabRecords.Exchange;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Pages.Conflicts;

/// <summary>Anything else of a record, such as a person's details or a goal, in the words of the trade as far as there are some.</summary>
internal static class PlainParts
{
    private static readonly Dictionary<string, string> Labels = new(StringComparer.Ordinal)
    {
        ["name"] = "Name",
        ["birthDate"] = "Born",
        ["gender"] = "Gender",
        ["telecom"] = "Telephone and mail",
        ["address"] = "Address",
        ["identifier"] = "Identifier",
        ["contact"] = "Contact",
        ["communication"] = "Language",
        ["relationship"] = "Relationship",
        ["active"] = "In use",
        ["status"] = "State",
        ["lifecycleStatus"] = "State",
        ["code"] = "What it is",
        ["description"] = "Description",
        ["reasonCode"] = "Reason",
        ["requester"] = "Decided by",
        ["owner"] = "Who does it",
        ["authoredOn"] = "Written on",
        ["effective"] = "When",
        ["performed"] = "When",
        ["executionPeriod"] = "Holds from",
        ["value"] = "Value",
        ["component"] = "Parts",
        ["note"] = "Remark",
        ["performer"] = "Who did it",
        ["target"] = "Levels and day",
        ["period"] = "From and to",
        ["title"] = "Title",
        ["patientInstruction"] = "Words for the person",
        ["occurrence"] = "How often",
        ["bodySite"] = "Side",
        ["input"] = "What it rests on",
        ["category"] = "Kind",
    };

    /// <summary>Elements that say nothing to a person, or say again what others do.</summary>
    private static readonly HashSet<string> Passed = new(["text", "meta", "language", "implicitRules", "contained", "output"], StringComparer.Ordinal);

    public static DifferingThing Of(Step step)
    {
        var (ours, theirs, origin) = (Values(step.Twin.Here), Values(step.Said), Values(step.Common));
        var fields = ours.Keys.Union(theirs.Keys).Where(k => !Passed.Contains(k)).Select(k => new DifferingField(
            Labels.GetValueOrDefault(k) ?? (k.StartsWith("extension ", StringComparison.Ordinal) ? Wording.Capital(k["extension ".Length..].Replace('-', ' ')) : k),
            ours.GetValueOrDefault(k), theirs.GetValueOrDefault(k), origin.GetValueOrDefault(k))).Where(f => f.Ours != f.Theirs).ToList();
        return new DifferingThing(Title(step.Twin.Here ?? step.Said!), step.Common is not null, fields);
    }

    /// <summary>What it is, as a person would call it.</summary>
    public static string Title(Resource resource) => resource switch
    {
        Patient => "The person's details",
        RelatedPerson => "The carer's details",
        Practitioner or PractitionerRole => "A clinician's details",
        Organization => "An organisation's details",
        Goal goal => $"Goal: {goal.Description?.Text}",
        Observation observation => $"Result: {observation.Code?.Text ?? observation.Code?.Coding.FirstOrDefault()?.Display ?? "a measure"}",
        Procedure => "A session",
        Flag flag => $"Precaution or red flag: {flag.Code?.Text}",
        FhirTask task when task.Code.CodeIn(Systems.Decision) is not null => $"Decision: {task.Focus?.Display ?? "an exercise"}",
        FhirTask task => $"Task: {task.Description}",
        ServiceRequest request => $"Exercise: {request.Code?.Text}",
        CarePlan plan => $"Programme: {plan.Title}",
        ActivityDefinition exercise => $"Exercise of the library: {exercise.Title}",
        PlanDefinition template => $"Template of the library: {template.Title}",
        _ => Kind(resource.TypeName, 1)["1 ".Length..] is var kind ? Wording.Capital(kind) : "",
    };

    /// <summary>"3 results": what there is of a kind.</summary>
    public static string Kind(string type, int count) => type switch
    {
        "Procedure" => Wording.Count(count, "session"),
        "Observation" => Wording.Count(count, "result"),
        "ServiceRequest" => Wording.Count(count, "prescription"),
        "CarePlan" => Wording.Count(count, "programme"),
        "Task" => Wording.Count(count, "decision or task", "decisions and tasks"),
        "AdverseEvent" => Wording.Count(count, "report of harm", "reports of harm"),
        "Provenance" => Wording.Count(count, "proof of origin", "proofs of origin"),
        "Communication" => Wording.Count(count, "briefing"),
        _ => Wording.Count(count, "other part of the record", "other parts of the record"),
    };

    private static Dictionary<string, string> Values(Resource? resource)
    {
        var values = new Dictionary<string, string>(StringComparer.Ordinal);
        foreach (var (name, value) in resource?.EnumerateElements() ?? [])
            foreach (var one in value is IEnumerable<Base> many ? many : [(Base)value])
            {
                var key = one is Extension { Url: { } url } ? $"extension {url[(url.LastIndexOf('/') + 1)..]}" : name;
                if (Words(one) is { Length: > 0 } words)
                    values[key] = values.TryGetValue(key, out var before) ? $"{before}; {words}" : words;
            }

        return values;
    }

    private static string Words(Base value) => value switch
    {
        HumanName name => name.Text ?? string.Join(' ', name.Given.Append(name.Family).OfType<string>()),
        ContactPoint contact => contact.Value ?? "",
        Identifier identifier => identifier.Value ?? "",
        CodeableConcept concept => concept.Text ?? string.Join(", ", concept.Coding.Select(c => c.Display ?? c.Code)),
        Coding coding => coding.Display ?? coding.Code ?? "",
        ResourceReference reference => reference.Display ?? reference.Reference ?? "",
        Quantity quantity => $"{quantity.Value} {quantity.Unit}".Trim(),
        Period period => $"{Day(period.Start)} to {Day(period.End) ?? "open"}",
        Date or FhirDateTime or Instant => Day(value.ToString()) ?? "",
        FhirBoolean { Value: { } yes } => yes ? "yes" : "no",
        PrimitiveType primitive => primitive.ToString() ?? "",
        _ => string.Join(", ", value.EnumerateElements().Where(e => e.Key is not "url" and not "system" and not "use").SelectMany(e => e.Value is IEnumerable<Base> many ? many : [(Base)e.Value]).Select(Words).Where(w => w.Length > 0)),
    };

    private static string? Day(string? text) => Addresses.Day(text) is { } day ? Wording.Date(day) : text;
}
