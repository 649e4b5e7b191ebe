using System.ComponentModel;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>
/// What the reporting standards CERT and TIDieR ask of a programme and nothing else of the record holds. All of it may be
/// left out, unless the clinic asks for a minimum.
/// </summary>
public sealed record ReportingRequest
{
    public const string Generic = "generic", Tailor = "tailored";

    [Description("Who teaches and delivers it at home, and how they were trained.")]
    public string? Training { get; init; }

    [Description("Alone or in a group, face to face or remote.")]
    public string? Grouping { get; init; }

    [Description("Supervised or not, by whom and how.")]
    public string? Supervision { get; init; }

    [Description("Where it is done.")]
    public string? Setting { get; init; }

    [Description("What keeps the person motivated.")]
    public string? Motivation { get; init; }

    [Description("How adherence is measured.")]
    public string? AdherenceMeasure { get; init; }

    [Description("How it is checked that exercises are done as taught (fidelity).")]
    public string? FidelityMeasure { get; init; }

    [Description("The rule for making it harder or easier.")]
    public string? ProgressionRule { get; init; }

    [Description("How harm is reported and who acts on it.")]
    public string? HarmReporting { get; init; }

    [Description("Parts that are not exercise, such as advice; or that there are none.")]
    public string? OtherParts { get; init; }

    [Description("generic (as in the template, for everybody) or tailored.")]
    public string? Tailored { get; init; }

    [Description("How and why it was tailored to this person.")]
    public string? TailoringReason { get; init; }

    /// <summary>By the codes of the items, in their order; what is left out is not there.</summary>
    internal IReadOnlyList<(string Code, string Text)> Items =>
        [.. new (string Code, string? Text)[]
        {
            ("training", Training), ("grouping", Grouping), ("supervision", Supervision), ("setting", Setting), ("motivation", Motivation),
            ("adherence-measure", AdherenceMeasure), ("fidelity-measure", FidelityMeasure), ("progression-rule", ProgressionRule),
            ("harm-reporting", HarmReporting), ("other-parts", OtherParts), ("tailored", Tailored), ("tailoring-reason", TailoringReason),
        }.Where(i => i.Text is not null).Select(i => (i.Code, i.Text!))];

    /// <summary>What this says, and for the rest what was said before.</summary>
    internal ReportingRequest Over(ReportingRequest? before) => Of(Items.Concat((before?.Items ?? []).ExceptBy(Items.Select(i => i.Code), i => i.Code)));

    internal IEnumerable<Extension> ToExtensions() => Items.Select(i => new Extension
    {
        Url = Extensions.Reporting,
        Extension = [new Extension("item", CodeLists.ReportingItem.Concept(i.Code)), new Extension("text", new FhirString(i.Text))],
    });

    /// <summary>Null when the programme says none of it.</summary>
    internal static ReportingRequest? From(CarePlan programme)
    {
        var items = programme.GetExtensions(Extensions.Reporting)
            .Select(e => (Code: e.GetExtensionValue<CodeableConcept>("item").CodeIn(Systems.ReportingItem)!, Text: e.GetExtensionValue<FhirString>("text")?.Value!)).ToList();
        return items.Count == 0 ? null : Of(items);
    }

    /// <summary>A sentence for each item.</summary>
    internal static IEnumerable<string> Words(CarePlan programme) => (From(programme)?.Items ?? []).Select(i => PlainWords.Sentence($"{Capital(CodeLists.ReportingItem.Words(i.Code))}: {i.Text}"));

    private static string Capital(string words) => char.ToUpperInvariant(words[0]) + words[1..];

    private static ReportingRequest Of(IEnumerable<(string Code, string Text)> items)
    {
        var text = items.ToDictionary(i => i.Code, i => i.Text, StringComparer.Ordinal);
        return new ReportingRequest
        {
            Training = text.GetValueOrDefault("training"),
            Grouping = text.GetValueOrDefault("grouping"),
            Supervision = text.GetValueOrDefault("supervision"),
            Setting = text.GetValueOrDefault("setting"),
            Motivation = text.GetValueOrDefault("motivation"),
            AdherenceMeasure = text.GetValueOrDefault("adherence-measure"),
            FidelityMeasure = text.GetValueOrDefault("fidelity-measure"),
            ProgressionRule = text.GetValueOrDefault("progression-rule"),
            HarmReporting = text.GetValueOrDefault("harm-reporting"),
            OtherParts = text.GetValueOrDefault("other-parts"),
            Tailored = text.GetValueOrDefault("tailored"),
            TailoringReason = text.GetValueOrDefault("tailoring-reason"),
        };
    }
}

internal sealed class ReportingRules : AbstractValidator<ReportingRequest>
{
    public ReportingRules()
    {
        RuleFor(r => r.Training).Text(Rules.LongText);
        RuleFor(r => r.Grouping).Text(Rules.LongText);
        RuleFor(r => r.Supervision).Text(Rules.LongText);
        RuleFor(r => r.Setting).Text(Rules.LongText);
        RuleFor(r => r.Motivation).Text(Rules.LongText);
        RuleFor(r => r.AdherenceMeasure).Text(Rules.LongText);
        RuleFor(r => r.FidelityMeasure).Text(Rules.LongText);
        RuleFor(r => r.ProgressionRule).Text(Rules.LongText);
        RuleFor(r => r.HarmReporting).Text(Rules.LongText);
        RuleFor(r => r.OtherParts).Text(Rules.LongText);
        RuleFor(r => r.Tailored).OneOf([ReportingRequest.Generic, ReportingRequest.Tailor], "a way of making a programme");
        RuleFor(r => r.TailoringReason).Text(Rules.LongText);
        RuleFor(r => r.TailoringReason).Custom((reason, context) =>
        {
            if (reason is not null && context.InstanceToValidate.Tailored == ReportingRequest.Generic)
                context.Fault($"{context.PropertyPath} says how it was tailored, and tailored is 'generic'; set tailored to tailored, or leave the reason out.");
        });
    }
}
