using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Terms;

namespace RehabRecords.Pages.Review;

/// <summary>
/// One stored version of a resource as a line to read: what it is and what it holds, with values and units. Always from its
/// elements, since these are what the statement was made from, and never from a narrative that came along with it.
/// </summary>
internal static class EvidenceWords
{
    private const int Longest = 400;

    public static (string? When, string What, string Words) Of(Resource resource)
    {
        var (when, what, parts) = resource switch
        {
            Observation o => (Moment(o.Effective), Label(o.Code, "Result"), Observed(o)),
            Procedure p => (Moment(p.Performed), Label(p.Code, "Procedure"), Session(p)),
            AdverseEvent a => (Moment(a.DateElement), "Harm", [Label(a.Event, "harm"), Code(a.Severity), Reporter(a.Recorder)]),
            Flag f => (Time(f.Period?.Start), f.Category.Exists(c => c.CodeIn(Systems.FlagCategory) == FlagCategory.RedFlag) ? "Red flag" : "Precaution",
                [Label(f.Code, "without words"), f.Status == Flag.FlagStatus.Active ? "open" : "no longer open"]),
            Goal g => (Moment(g.Start), "Goal", [g.Description?.Text, (g.Target.FirstOrDefault()?.Due as Date)?.Value is { } due ? $"due {Time(due)}" : null]),
            Hl7.Fhir.Model.Task t => (Time(t.AuthoredOn), Label(t.Code, "Task"), [t.Description, t.ReasonCode?.Text is { } why ? $"because: {why}" : null, t.Requester?.Display]),
            CarePlan c => (Time(c.Period?.Start), "Programme", [c.Title, c.GetExtensionValue<PositiveInt>(Extensions.Level)?.Value is { } level ? $"level {level}" : null,
                c.Period?.End is { } end ? $"to {Time(end)}" : null, c.StatusElement?.JsonValue as string]),
            ServiceRequest s => (s.Occurrence is Timing { Repeat.Bounds: Period from } ? Time(from.Start) : Time(s.AuthoredOn), $"Prescription: {Label(s.Code, "an exercise")}", [s.PatientInstruction?.ReplaceLineEndings(" ")]),
            Patient p => (null, "Person", Person(p)),
            RelatedPerson r => (null, "Carer", [r.Name.FirstOrDefault()?.Text, r.Relationship.FirstOrDefault()?.Text]),
            Practitioner p => (null, "Clinician", [p.Name.FirstOrDefault()?.Text, p.Qualification.FirstOrDefault()?.Code?.Text]),
            EpisodeOfCare e => (Time(e.Period?.Start), "Episode of care", [e.Period?.End is { } end ? $"to {Time(end)}" : null, e.StatusElement?.JsonValue as string]),
            QuestionnaireResponse q => (Time(q.Authored), "Form", [q.Author?.Display is { } author ? $"filled in by {author}" : null, .. q.Item.Select(Answer)]),
            Composition c => (Time(c.Date), "Note", [c.Title]),
            Device d => (null, "Equipment", [d.DeviceName.FirstOrDefault()?.Name]),
            DeviceUseStatement d => (Moment(d.Timing), "Equipment", [d.Device?.Display]),
            _ => ((string?)null, resource.TypeName, (List<string?>)[]),
        };
        var words = string.Join(", ", parts.Where(p => !string.IsNullOrWhiteSpace(p)));
        return (when, what, words.Length <= Longest ? words : words[..Longest] + "…");
    }

    private static List<string?> Observed(Observation o) =>
    [
        Sides.Of(o.BodySite) is { } side ? side : o.BodySite?.Text,
        o.Method?.Text,
        Value(o.Value, o.Code),
        o.DataAbsentReason is { } absent ? $"no value: {Label(absent, "not said why")}" : null,
        .. o.Component.Select(c => $"{Lower(Label(c.Code, "value"))} {Value(c.Value, c.Code) ?? Label(c.DataAbsentReason, "not recorded")}"),
        .. o.Note.Select(n => n.Text is { } text ? $"“{text}”" : null),
        Reporter(o.Performer.FirstOrDefault()),
    ];

    private static List<string?> Session(Procedure p) =>
    [
        p.Status == EventStatus.Completed ? "done" : p.Status == EventStatus.NotDone ? $"not done: {Label(p.StatusReason, "no reason given")}" : p.StatusElement?.JsonValue as string,
        .. p.Note.Select(n => n.Text is { } text ? $"“{text}”" : null),
        Reporter(p.Asserter),
    ];

    private static List<string?> Person(Patient p)
    {
        var context = p.GetExtension(Extensions.RehabilitationContext);
        return
        [
            p.Name.FirstOrDefault() is { } name ? name.Text ?? $"{string.Join(' ', name.Given)} {name.Family}".Trim() : null,
            p.BirthDate is { } born ? $"born {Time(born)}" : null,
            context?.GetExtensionValue<Code>("affectedSide")?.Value is { } side ? $"affected side {side}" : null,
            context?.GetExtensionValue<Code>("dominantHand")?.Value is { } hand ? $"dominant hand {hand}" : null,
            context?.GetExtensionValue<Date>("onset")?.Value is { } onset ? $"onset {Time(onset)}" : null,
        ];
    }

    private static string Answer(QuestionnaireResponse.ItemComponent item) => item.Item.Count > 0
        ? $"{item.Text}: {string.Join("; ", item.Item.Select(i => $"{Lower(i.Text ?? "")} {Value(i.Answer.FirstOrDefault()?.Value, null)}"))}"
        : $"{item.Text}: {Value(item.Answer.FirstOrDefault()?.Value, null)}";

    /// <param name="of">What the value is of: our catalogue knows how its unit is read.</param>
    private static string? Value(DataType? value, CodeableConcept? of) => value switch
    {
        null => null,
        Quantity q => $"{q.Comparator switch { Quantity.QuantityComparator.LessThan => "less than ", Quantity.QuantityComparator.LessOrEqual => "at most ", Quantity.QuantityComparator.GreaterThan => "more than ", Quantity.QuantityComparator.GreaterOrEqual => "at least ", _ => "" }}{Amount(q)}",
        Integer i => of.CodeIn(Systems.SessionItem) is SessionItem.PainBefore or SessionItem.PainDuring or SessionItem.PainAfter ? $"{i.Value} of 10" : $"{i.Value}",
        CodeableConcept c => Label(c, "coded"),
        FhirBoolean b => b.Value == true ? "yes" : "no",
        Date or FhirDateTime or Instant => Moment(value),
        Period p => $"{Time(p.Start)} to {Time(p.End)}",
        _ => value.ToString(),
    };

    private static string Amount(Quantity q) => q.Value is not { } value ? "no number"
        : q is { System: Systems.Ucum, Code: "1", Unit: null or "1" } ? value.ToString("0.####", CultureInfo.InvariantCulture)
        : $"{value.ToString("0.######", CultureInfo.InvariantCulture)} {q.Unit ?? q.Code}";

    private static string? Reporter(ResourceReference? who) => who is null ? null : (who.Type ?? who.Reference?.Split('/')[0]) switch
    {
        "Patient" => "by the person",
        "RelatedPerson" => $"by the carer{(who.Display is null ? "" : $", {who.Display}")}",
        "PractitionerRole" => $"by a support worker{(who.Display is null ? "" : $", {who.Display}")}",
        _ => who.Display is null ? null : $"by {who.Display}",
    };

    private static string Label(CodeableConcept? concept, string otherwise) =>
        concept?.Text ?? concept?.Coding.Select(c => c.Display ?? c.Code).FirstOrDefault(d => d is not null) ?? otherwise;

    private static string? Code(CodeableConcept? concept) => concept is null ? null : Label(concept, "");

    private static string Lower(string words) => words.Length < 2 || char.IsUpper(words[1]) ? words : char.ToLowerInvariant(words[0]) + words[1..];

    private static string? Moment(DataType? moment) => moment switch
    {
        FhirDateTime t => Time(t.Value),
        Date d => Time(d.Value),
        Instant i => i.Value is { } at ? Time(at.ToString("yyyy-MM-dd'T'HH:mm:sszzz", CultureInfo.InvariantCulture)) : null,
        Period p => p.End is null || p.End == p.Start ? Time(p.Start) : $"{Time(p.Start)} to {Time(p.End)}",
        _ => null,
    };

    /// <summary>As it was written, in its own offset.</summary>
    internal static string? Time(string? text)
    {
        if (text is null)
            return null;
        if (text.Length == 10 && DateOnly.TryParseExact(text, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out var day))
            return Notes.Wording.Date(day);
        return text.Length > 10 && DateTimeOffset.TryParse(text, CultureInfo.InvariantCulture, DateTimeStyles.None, out var at)
            ? at.ToString("d MMMM yyyy, HH:mm", CultureInfo.InvariantCulture) : text;
    }
}
