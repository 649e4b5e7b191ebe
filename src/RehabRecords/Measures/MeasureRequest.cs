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

    [Description("Muscle group or movement tested, for modified-ashworth and mrc-power, such as elbow-flexors or elbow-flexion. Results are kept and compared by site and side.")]
    public string? Site { get; init; }

    [Required, Description("When it was measured, with the offset (RFC 3339).")]
    public DateTimeOffset? MeasuredAt { get; init; }

    [Description("completed (when left out), stopped-at-limit, unable, not-attempted, refused, not-applicable or invalid-trial. Only a completed test has a value.")]
    public string? Status { get; init; }

    [Description("Value in the unit given. Left out when trials are given: their mean (median, sum) is taken, as the catalogue says.")]
    public decimal? Value { get; init; }

    [Description("Grade of a graded scale as text, such as 1+, instead of a value.")]
    public string? Grade { get; init; }

    [Description("arat only: the four subscale totals. The total is made from them, and they are recorded beside it.")]
    public ArmTestTotals? Subscales { get; init; }

    [Description("arat only, instead of subscales: item scores 0 to 3. Items that the decision rules credit may be left out; with the variant all-items none may.")]
    public ArmTestItems? Items { get; init; }

    [Range(0, 20), Description("ten-metre-walk: the distance that was timed, metres, above 0; with seconds it gives the speed.")]
    public decimal? DistanceMetres { get; init; }

    [Range(0, 3600), Description("ten-metre-walk: the time over that distance, seconds, above 0.")]
    public decimal? Seconds { get; init; }

    [Description("Each trial in the unit given, in order.")]
    public IReadOnlyList<decimal>? Trials { get; init; }

    [Description("UCUM unit of value and trials: s, {blocks}/min, kgf, [lbf_av] or N (forces are kept as measured), m/s, {score}. Left out for a graded scale, and where subscales, items or a distance and time give it.")]
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

    [Description("What else should be known of this test, such as an aid that was used.")]
    public string? Note { get; init; }

    /// <summary>Scores out of subscales and a speed out of distance and time are in the measure's own unit.</summary>
    internal bool GivesItsUnit => Subscales is not null || Items is not null || (DistanceMetres is not null && Seconds is not null);

    internal string WhatWasSent => Subscales is not null ? "the subscales" : Items is not null ? "the items" : DistanceMetres is not null ? "distance and time" : "the trials";

    internal string WhatIsGiven(Clinical.MeasureDefinition measure) => WhatWasSent switch
    {
        "the trials" => $"the {measure.TrialSummary.ToString().ToLowerInvariant()} of the trials",
        "distance and time" => "distance over time",
        var parts => $"the total of {parts}",
    };
}

internal sealed class MeasureRules : AbstractValidator<MeasureRequest>
{
    private const int MostTrials = 20;
    private const decimal MostMetres = 20;
    private const decimal MostSeconds = 3600;
    private const string Walk = "ten-metre-walk";

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
        RuleFor(m => m.Site).OneOf(CodeLists.MeasureSite, "a muscle group or movement of the list");
        RuleFor(m => m.DistanceMetres).Custom(AboveNothing("metres, such as 10", MostMetres));
        RuleFor(m => m.Seconds).Custom(AboveNothing("seconds", MostSeconds));
        RuleFor(m => m.Subscales).Custom((subscales, context) => Only(ArmTest.Total, subscales is not null, context));
        RuleFor(m => m.Items).Custom((items, context) =>
        {
            Only(ArmTest.Total, items is not null, context);
            if (items is not null && context.InstanceToValidate.Subscales is not null)
                context.Fault("items is given beside subscales; give the item scores or the subscale totals, not both.");
        });
        RuleFor(m => m.DistanceMetres).Custom((distance, context) => Only(Walk, distance is not null, context));
        RuleFor(m => m.Seconds).Custom((seconds, context) =>
        {
            Only(Walk, seconds is not null, context);
            if (context.InstanceToValidate is { Measure: Walk } walk && seconds is null != walk.DistanceMetres is null)
                context.Fault($"{(seconds is null ? "seconds is" : "distanceMetres is")} missing; a speed needs the distance that was timed and the time, or give value in m/s.");
        });
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

    private static Action<decimal?, ValidationContext<MeasureRequest>> AboveNothing(string unit, decimal most) => (value, context) =>
    {
        if (value <= 0 || value > most)
            context.Fault($"{context.PropertyPath} is {Rules.Number(value.Value)}; give {unit}, above 0 and at most {Rules.Number(most)}. Unable to walk is a status, not a number.");
    };

    /// <summary>A part that belongs to one measure is refused beside any other, and beside a test that was not completed.</summary>
    private static void Only(string measure, bool given, ValidationContext<MeasureRequest> context)
    {
        if (!given)
            return;
        if (context.InstanceToValidate.Measure is { } other && other != measure)
            context.Fault($"{context.PropertyPath} is given with the measure {Rules.Shown(other)}; it belongs to {measure}, so leave it out.");
        if (context.InstanceToValidate.Status is { } status && status != Terms.MeasureStatus.Completed)
            context.Fault($"{context.PropertyPath} is given with the status {Rules.Shown(status)}; only a completed test has scores, so leave it out or send status completed.");
    }
}
