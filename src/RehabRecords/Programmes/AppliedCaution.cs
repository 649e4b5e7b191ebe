using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using Part = RehabRecords.Terms.Extensions.CautionPart;

namespace RehabRecords.Programmes;

/// <summary>
/// A caution of the catalogue that applies to one person with one exercise, and why. It defers to local policy and the
/// registered clinician, and stands beside the exercise's own cautions, which somebody wrote for everybody.
/// </summary>
/// <param name="Source">Citation and mark.</param>
internal sealed record AppliedCaution(Caution Caution, IReadOnlyList<string> Precautions, string Reason, string Source)
{
    private const string WarmWater = "warm-water";

    /// <summary>Limits that matter at home; those of outlets are for who sets up the taps.</summary>
    private static readonly string[] LimitsAtHome = ["hand-task", "hot-surface", "immersion"];

    /// <param name="tags">Codes of the cautions attached to the exercise.</param>
    public static IReadOnlyList<AppliedCaution> For(IReadOnlyList<string> tags, IReadOnlyList<PersonPrecaution> ofPerson)
    {
        var codes = ofPerson.Select(p => p.Code).Distinct().ToList();
        var applied = Cautions.For(tags, codes, recorded: codes.Count > 0).Select(caution =>
        {
            var under = caution.Precautions.Where(codes.Contains).ToList();
            return new AppliedCaution(caution, under, (caution.Precautions.Count, codes.Count) switch
            {
                (0, _) => "holds for everybody",
                (_, 0) => "no precautions are recorded for the person, so it cannot be ruled out",
                _ => $"recorded for the person: {string.Join(", ", under.Select(CodeLists.Precaution.Words))}",
            }, caution.Source.InFull);
        });
        return [.. applied, .. tags.Contains(WarmWater) ? [TemperatureLimits()] : Array.Empty<AppliedCaution>()];
    }

    private static AppliedCaution TemperatureLimits()
    {
        var limits = LimitsAtHome.Select(id => Cautions.Temperatures.Single(t => t.Id == id)).ToList();
        return new AppliedCaution(
            new Caution(WarmWater, "Temperature limits", [],
                $"{string.Join("; ", limits.Select(l => $"{l.Title}: at most {l.Celsius:0} °C"))}; or the lower local limit.", false,
                limits[0].Source),
            [], "holds for everybody", string.Join("; ", limits.Select(l => $"{l.Title}: {l.Source.InFull}")));
    }

    /// <summary>Words for the person at home, who needs what to do and when, not the citation.</summary>
    public static IEnumerable<string> Instructions(IReadOnlyList<AppliedCaution> applied) => applied.Count == 0 ? [] :
        [.. applied.Select(a => PlainWords.Sentence($"{(a.Caution.Stop ? "Stop rule" : "Take care")} ({CodeLists.Caution.Words(a.Caution.Code)}{a.When}): {a.Caution.Text}")), Cautions.Closing];

    private string When => Precautions.Count > 0 ? $"; recorded for you: {string.Join(", ", Precautions.Select(CodeLists.Precaution.Words))}"
        : Caution.Condition is { } condition ? $", {condition}" : "";

    /// <summary>For the narrative: why it is there and where it comes from.</summary>
    public string Provenance => PlainWords.Sentence($"Caution “{CodeLists.Caution.Words(Caution.Code)}”: {Reason}. Source: {Source}");

    public Extension ToExtension()
    {
        var extension = new Extension { Url = Extensions.Caution };
        extension.Extension.Add(new Extension(Part.Code, CodeLists.Caution.Concept(Caution.Code)));
        if (Caution.Condition is { } condition)
            extension.Extension.Add(new Extension(Part.Condition, new FhirString(condition)));
        extension.Extension.Add(new Extension(Part.Text, new FhirString(Caution.Text)));
        extension.Extension.Add(new Extension(Part.Stop, new FhirBoolean(Caution.Stop)));
        extension.Extension.Add(new Extension(Part.Reason, new FhirString(Reason)));
        extension.Extension.AddRange(Precautions.Select(p => new Extension(Part.Precaution, CodeLists.Precaution.Concept(p))));
        extension.Extension.Add(new Extension(Part.Source, new FhirString(Source)));
        return extension;
    }

    public static IReadOnlyList<CautionAnswer> AnswersOf(ServiceRequest request) =>
        [.. request.GetExtensions(Extensions.Caution).Select(e => new CautionAnswer(
            e.GetExtensionValue<CodeableConcept>(Part.Code).CodeIn(Systems.Caution),
            e.GetExtensionValue<FhirString>(Part.Condition)?.Value,
            e.GetExtensionValue<FhirString>(Part.Text)?.Value,
            e.GetExtensionValue<FhirBoolean>(Part.Stop)?.Value ?? false,
            e.GetExtensionValue<FhirString>(Part.Reason)?.Value,
            [.. e.GetExtensions(Part.Precaution).Select(p => (p.Value as CodeableConcept).CodeIn(Systems.Precaution)).OfType<string>()],
            e.GetExtensionValue<FhirString>(Part.Source)?.Value))];

    public static bool UsesWarmWater(ServiceRequest request) => PrecautionMapping.TagsOf(request).Contains(WarmWater);
}

/// <param name="Condition">When it applies, in words.</param>
/// <param name="Stop">A rule to stop by.</param>
/// <param name="Reason">Why it applies to this person; null for a caution that whoever wrote the exercise gave it.</param>
/// <param name="Precautions">Precautions of the person under which it applies.</param>
/// <param name="Source">Citation and mark; null for the exercise's own words.</param>
public sealed record CautionAnswer(
    string? Code, string? Condition, string? Text, bool Stop, string? Reason, IReadOnlyList<string> Precautions, string? Source);

/// <summary>A limit of temperature in degrees Celsius.</summary>
public sealed record TemperatureAnswer(string Id, string Title, decimal Celsius, string Text, SourceAnswer Source)
{
    internal static IReadOnlyList<TemperatureAnswer> For(IEnumerable<ServiceRequest> requests) => requests.Any(AppliedCaution.UsesWarmWater)
        ? [.. Cautions.Temperatures.Select(t => new TemperatureAnswer(t.Id, t.Title, t.Celsius, t.Text, SourceAnswer.Of(t.Source)))]
        : [];
}
