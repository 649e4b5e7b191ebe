namespace RehabRecords.Terms;

/// <summary>Items of a session and of one exercise in it.</summary>
public static class SessionItem
{
    public const string HomeSession = "home-session";
    public const string SetsDone = "sets-done";
    public const string RepetitionsDone = "repetitions-done";
    public const string PurposefulRepetitionsDone = "purposeful-repetitions-done";
    public const string MinutesDone = "minutes-done";
    public const string HelpLevel = "help-level";
    public const string PainBefore = "pain-before";
    public const string PainDuring = "pain-during";
    public const string PainAfter = "pain-after";
    public const string Exertion0To10 = "exertion-0-10";
    public const string Exertion6To20 = "exertion-6-20";
    public const string Fatigue0To10 = "fatigue-0-10";
    public const string Quality = "quality";
    public const string AdverseEvent = "adverse-event";
}

/// <summary>Items of the adherence summary.</summary>
public static class AdherenceItem
{
    public const string Adherence = "adherence";
    public const string Due = "due";
    public const string Done = "done";
    public const string NotDone = "not-done";
    public const string Unknown = "unknown";
    public const string RatioLower = "ratio-lower";
    public const string RatioUpper = "ratio-upper";
}

/// <summary>What a flag stands for.</summary>
public static class FlagCategory
{
    public const string Precaution = "precaution";
    public const string RedFlag = "red-flag";
    public const string LegalHold = "legal-hold";
}

/// <summary>Whether a measure was completed; kept apart from its value.</summary>
public static class MeasureStatus
{
    public const string Completed = "completed";
    public const string StoppedAtLimit = "stopped-at-limit";
    public const string Unable = "unable";
    public const string NotAttempted = "not-attempted";
    public const string Refused = "refused";
    public const string NotApplicable = "not-applicable";
    public const string InvalidTrial = "invalid-trial";
}

/// <summary>Parts of a measure result that are not its value.</summary>
public static class MeasureComponent
{
    public const string Trial = "trial";
    public const string TimeLimit = "time-limit";
    public const string PegsPlaced = "pegs-placed";
    public const string Site = "site";
    public const string TimedDistance = "timed-distance";
    public const string TimeTaken = "time-taken";

    /// <summary>Item scores of a subscale by their place on the form; which items these are is not held.</summary>
    public static readonly IReadOnlyList<string> Items = [.. Enumerable.Range(1, 6).Select(Item)];

    public static string Item(int place) => $"item-{place}";
}

/// <summary>Measure ids that the mapping itself must know; all others come from the catalogue.</summary>
public static class MeasureCode
{
    public const string GasLevel = "gas-level";
    public const string GasTScore = "gas-t-score";
}

/// <summary>What a clinician decided about an exercise of a programme.</summary>
public static class DecisionCode
{
    public const string Advance = "advance";
    public const string Hold = "hold";
    public const string StepBack = "step-back";
    public const string Stop = "stop";
    public const string Revise = "revise";
    public const string Add = "add";
}

/// <summary>What is kept with a decision: the suggestion as it stood, and what was chosen.</summary>
public static class DecisionItem
{
    public const string Suggestion = "suggestion";
    public const string Rule = "rule";
    public const string RuleSet = "rule-set";
    public const string RuleReason = "rule-reason";
    public const string RuleInput = "rule-input";
    public const string Evidence = "evidence";
    public const string Dimension = "dimension";
    public const string Step = "step";
    public const string Lock = "lock";
    public const string Prescription = "prescription";
    public const string Ended = "ended";
}

/// <summary>Work that waits for a person.</summary>
public static class WorkItem
{
    public const string Briefing = "briefing";
    public const string BriefingAcknowledgement = "briefing-acknowledgement";
    public const string ExchangeConflict = "exchange-conflict";
}

/// <summary>Kinds of the statements of a note.</summary>
public static class StatementKind
{
    public const string Finding = "finding";
    public const string Reported = "reported";
    public const string Suggestion = "suggestion";
    public const string Caution = "caution";
    public const string Gap = "gap";
}
