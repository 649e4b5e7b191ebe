using RehabRecords.Clinical;

namespace RehabRecords.Progress;

/// <summary>Every limit that decides what a note suggests, as it is in force here, with where it comes from.</summary>
public sealed record RulesView(
    ProgressionView Progression, AdherenceDefinitionView Adherence, IReadOnlyList<RedFlagView> RedFlags,
    IReadOnlyList<CautionView> Cautions, string CautionsClosing, IReadOnlyList<TemperatureView> Temperatures)
{
    public static RulesView Of(ClinicRules rules) => new(
        ProgressionView.Of(rules.Progression),
        AdherenceDefinitionView.Of(rules.Adherence),
        [.. SafetyScreen.Catalogue.Select(f => new RedFlagView(f.Code, f.Title, f.Urgency.Code(), f.Text, f.Freezes, SourceView.Of(f.Source)))],
        [.. Clinical.Cautions.Catalogue.Select(c => new CautionView(c.Code, c.Title, c.Condition, c.Precautions, c.Text, c.Stop, SourceView.Of(c.Source)))],
        Clinical.Cautions.Closing,
        [.. Clinical.Cautions.Temperatures.Select(t => new TemperatureView(t.Id, t.Title, t.Celsius, t.Text, SourceView.Of(t.Source)))]);
}

/// <param name="Mark">How far it was confirmed: published, secondary, computed, from-memory or common-practice.</param>
/// <param name="Words">The mark in words.</param>
public sealed record SourceView(string Citation, string Mark, string Words, string? Note)
{
    public static SourceView Of(Source source) => new(source.Citation, source.Mark.Code(), source.MarkText, source.Note);
}

/// <param name="Version">Version of the rule set, named in every suggestion.</param>
/// <param name="ClinicChanges">What the clinic set otherwise than the rules that ship; null when nothing.</param>
public sealed record ProgressionView(string Version, string? ClinicChanges, IReadOnlyList<LimitView> Limits)
{
    public static ProgressionView Of(ProgressionRules rules) => new(
        rules.Version, rules.ClinicChanges,
        [.. rules.Limits.Select(l => new LimitView(l.Id, l.Value, l.Unit, ProgressionRules.Default[l.Id], l.From, l.To, l.Text, SourceView.Of(l.Source)))]);
}

/// <param name="Value">The value in force.</param>
/// <param name="Shipped">The value that ships.</param>
/// <param name="From">Smallest value a clinic may set.</param>
/// <param name="To">Largest value a clinic may set.</param>
public sealed record LimitView(string Id, decimal Value, string Unit, decimal Shipped, decimal From, decimal To, string Text, SourceView Source);

/// <param name="Percent">Per cent of what was prescribed.</param>
/// <param name="Strict">true for "more than", false for "at least".</param>
public sealed record AdherenceDefinitionView(string Id, string Title, decimal Percent, bool Strict, SourceView Source)
{
    public static AdherenceDefinitionView Of(AdherenceRule rule) => new(rule.Id, rule.Title, rule.Threshold * 100, rule.Strict, SourceView.Of(rule.Source));
}

/// <param name="Urgency">emergency, urgent-review or note-at-next-review.</param>
/// <param name="Freezes">Whether it stops suggestions to go on until a clinician has cleared it.</param>
public sealed record RedFlagView(string Code, string Title, string Urgency, string Text, bool Freezes, SourceView Source);

/// <param name="Condition">When it applies, in words; null when always.</param>
/// <param name="Precautions">Precautions of a person under which it applies; empty when it always does.</param>
/// <param name="Stop">Whether it is a reason to stop.</param>
public sealed record CautionView(string Code, string Title, string? Condition, IReadOnlyList<string> Precautions, string Text, bool Stop, SourceView Source);

/// <param name="Celsius">Limit in degrees Celsius.</param>
public sealed record TemperatureView(string Id, string Title, decimal Celsius, string Text, SourceView Source);
