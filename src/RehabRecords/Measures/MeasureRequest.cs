using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Measures;

/// <summary>One result of a measure; what became of the test is kept apart from its value.</summary>
public sealed record MeasureRequest
{
    [Required, Description("The person's id.")]
    public string? Person { get; init; }

    [Required, Description("Id of the measure in the catalogue, such as nine-hole-peg, box-and-block, grip-strength, arat or gas-level.")]
    public string? Measure { get; init; }

    [Description("Side tested: left or right. Needed for a measure of one hand or arm.")]
    public string? Side { get; init; }

    [Required, Description("When it was measured, with the offset (RFC 3339).")]
    public DateTimeOffset? MeasuredAt { get; init; }

    [Description("completed (when left out), stopped-at-limit, unable, not-attempted, refused, not-applicable or invalid-trial. Only a completed test has a value.")]
    public string? Status { get; init; }

    [Description("Value in the unit given. Left out when trials are given: their mean is taken.")]
    public decimal? Value { get; init; }

    [Description("Grade of a graded scale as text, such as 1+, instead of a value.")]
    public string? Grade { get; init; }

    [Description("Each trial in the unit given, in order.")]
    public IReadOnlyList<decimal>? Trials { get; init; }

    [Description("UCUM unit of value and trials: s, {blocks}/min, kgf, [lbf_av] or N (forces are kept as measured), m/s, {score}. Left out for a graded scale.")]
    public string? Unit { get; init; }

    [Range(0, 3600), Description("Time limit in force, seconds. Needed with stopped-at-limit; never taken as a value.")]
    public decimal? TimeLimitSeconds { get; init; }

    [Range(0, 9), Description("Pegs placed when a peg test was stopped, 0 to 9.")]
    public int? PegsPlaced { get; init; }

    [Description("Version of the procedure, where the catalogue lists versions; results of different versions are not compared.")]
    public string? Variant { get; init; }

    [Description("Id of the goal, for gas-level: the level attained, -2 to +2.")]
    public string? Goal { get; init; }

    [Description("Who measured.")]
    public Clinician? Assessor { get; init; }

    [Description("What else should be known of this test.")]
    public string? Note { get; init; }
}

internal sealed class MeasureRules : AbstractValidator<MeasureRequest>
{
    private const int MostTrials = 20;

    public MeasureRules(TimeProvider clock)
    {
        RuleFor(m => m.Person).Needed("the person's id");
        RuleFor(m => m.Person).IdOf("Patient");
        RuleFor(m => m.Measure).Needed("the id of a measure in the catalogue");
        RuleFor(m => m.Side).OneOf([Sides.Left, Sides.Right], "a side that can be tested");
        RuleFor(m => m.MeasuredAt).Needed("when it was measured, such as 2026-06-01T09:30:00+01:00");
        RuleFor(m => m.MeasuredAt).Custom((at, context) =>
        {
            var now = clock.GetUtcNow();
            if (at > now + Sessions.SessionRules.ClockTolerance)
                context.Fault($"measuredAt is {at:yyyy-MM-dd'T'HH:mm:sszzz}, which is in the future (it is {now:yyyy-MM-dd'T'HH:mm:ss'Z'}); give the time it was measured.");
        });
        RuleFor(m => m.Status).OneOf(CodeLists.MeasureStatus, "what can become of a test");
        RuleFor(m => m.Grade).Text(10);
        RuleFor(m => m.Trials).AtMost(MostTrials);
        RuleFor(m => m.Variant).Text(Rules.ShortText);
        RuleFor(m => m.Goal).IdOf("Goal");
        RuleFor(m => m.Goal).Custom((goal, context) =>
        {
            var measure = context.InstanceToValidate.Measure;
            if (goal is null && measure == MeasureCode.GasLevel)
                context.Fault("goal is missing; give the id of the goal whose level was attained.");
            if (goal is not null && measure is not null and not MeasureCode.GasLevel)
                context.Fault($"goal is '{Rules.Shown(goal)}', but {Rules.Shown(measure)} is not a goal attainment level; leave goal out or use the measure gas-level.");
        });
        RuleFor(m => m.Assessor).SetValidator(new ClinicianRules()!);
        RuleFor(m => m.Note).Text(Rules.LongText);
    }
}
