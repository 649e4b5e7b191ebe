namespace RehabRecords.Clinical;

/// <summary>What the rules suggest; a clinician confirms or overrides every one.</summary>
public enum Suggestion
{
    /// <summary>One step harder in one dimension.</summary>
    Advance,

    /// <summary>Carry on as prescribed.</summary>
    Hold,

    /// <summary>One step easier in one dimension.</summary>
    StepBack,

    /// <summary>Stop and review before anything else.</summary>
    StopAndReview,
}

/// <summary>An input a rule looked at.</summary>
/// <param name="Name">Name of the input.</param>
/// <param name="Value">Its value in text; "not reported" when missing.</param>
public sealed record RuleInput(string Name, string Value);

/// <summary>An open red flag of a person.</summary>
/// <param name="Code">Code of the flag.</param>
/// <param name="Since">When it was raised.</param>
/// <param name="Evidence">The caller's address of the flag or of the session that raised it.</param>
public sealed record OpenFlag(string Code, DateTimeOffset Since, string Evidence);

/// <summary>A suggestion for one exercise.</summary>
/// <param name="Planned">Id of the prescription.</param>
/// <param name="Exercise">Code of the exercise.</param>
/// <param name="Title">Name in plain words.</param>
/// <param name="Suggestion">What is suggested.</param>
/// <param name="Rule">Id of the rule that decided.</param>
/// <param name="RuleSet">Version of the rule set.</param>
/// <param name="Reason">Why, in plain words.</param>
/// <param name="Options">Offered gradings in the suggested direction; the clinician picks at most one.</param>
/// <param name="Inputs">All inputs the rules looked at.</param>
/// <param name="Source">Source of the rule.</param>
/// <param name="Evidence">Addresses of what was looked at.</param>
public sealed record ProgressionSuggestion(
    string Planned, string Exercise, string Title, Suggestion Suggestion, string Rule, string RuleSet, string Reason,
    IReadOnlyList<Grading> Options, IReadOnlyList<RuleInput> Inputs, Source Source, IReadOnlyList<string> Evidence);

/// <summary>Everything the progression rules look at for one programme.</summary>
/// <param name="Plan">Prescriptions, revisions included.</param>
/// <param name="Reports">Session reports in any order.</param>
/// <param name="OpenFlags">Red flags not yet cleared by a clinician.</param>
/// <param name="AsOf">Day of the latest result; nothing later is looked at.</param>
/// <param name="PainLimit">Pain limit of the programme, 0 to 10.</param>
public sealed record ProgressionInput(
    IReadOnlyList<PlannedExercise> Plan, IReadOnlyList<SessionReport> Reports, IReadOnlyList<OpenFlag> OpenFlags, DateOnly AsOf, int PainLimit);

/// <summary>The progression rules.</summary>
public static class Progression
{
    /// <summary>A suggestion for each exercise of the plan that is in force on the day, in order of the plan.</summary>
    public static IReadOnlyList<ProgressionSuggestion> Suggest(ProgressionInput input, ProgressionRules? rules = null) =>
        throw new NotImplementedException();
}

/// <summary>Thresholds of the progression rules: a clinic may set each; what ships is common practice unless marked otherwise.</summary>
public sealed record ProgressionRules(string Version);
