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

/// <summary>A suggestion for one exercise. Nothing changes by it: a clinician confirms or overrides.</summary>
/// <param name="Planned">Id of the prescription.</param>
/// <param name="Exercise">Code of the exercise.</param>
/// <param name="Title">Name in plain words.</param>
/// <param name="Suggestion">What is suggested.</param>
/// <param name="Rule">Id of the rule that decided, such as <c>hold-missing-report</c>.</param>
/// <param name="RuleSet">Version of the rule set.</param>
/// <param name="Reason">Why, in plain words.</param>
/// <param name="Options">Gradings offered in the suggested direction; the clinician picks at most one, so one step in one dimension.</param>
/// <param name="Inputs">All inputs the rules looked at.</param>
/// <param name="Source">Source of the rule.</param>
/// <param name="Evidence">Addresses of what was looked at.</param>
public sealed record ProgressionSuggestion(
    string Planned, string Exercise, string Title, Suggestion Suggestion, string Rule, string RuleSet, string Reason,
    IReadOnlyList<Grading> Options, IReadOnlyList<RuleInput> Inputs, Source Source, IReadOnlyList<string> Evidence)
{
    /// <summary>What the clinic set otherwise than the rules that ship; null when nothing.</summary>
    public string? ClinicChanges { get; init; }
}

/// <summary>Everything the progression rules look at for one programme.</summary>
/// <param name="Plan">Prescriptions, revisions included.</param>
/// <param name="Reports">Session reports in any order.</param>
/// <param name="OpenFlags">Red flags not yet cleared by a clinician.</param>
/// <param name="AsOf">Day of the latest result; nothing later is looked at, and an occasion of that day without a report is not yet late.</param>
/// <param name="PainLimit">Pain limit of the programme, 0 to 10; where it is below the rules' limit for a step ahead, it takes its place.</param>
public sealed record ProgressionInput(
    IReadOnlyList<PlannedExercise> Plan, IReadOnlyList<SessionReport> Reports, IReadOnlyList<OpenFlag> OpenFlags, DateOnly AsOf, int PainLimit);
