using RehabRecords.Terms;
using static RehabRecords.Notes.NoteSection;

namespace RehabRecords.Notes;

/// <summary>Every rule that may put a sentence into a note. docs/note-rules.md shows the same list to clinicians.</summary>
public static class NoteRules
{
    private const string Soap = "content of a progress note by section: common practice, no source";
    private const string NeverBlank = "a missing report is unknown, not missed; bounds instead of one number: rule of this record";
    private const string Attributed = "what a person or carer says is attributed and quoted (record-keeping duty, see docs/clinical-basis.md)";
    private const string Thresholds = "threshold rows of the measures catalogue, each with its own citation and mark";
    private const string Trends = "Theil-Sen slope with interval, Mann-Kendall test; descriptive only";
    private const string Progressing = "progression rule set, as shipped or as the clinic changed it (GET /api/rules); every threshold common practice, no source, unless the set says otherwise";
    private const string CautionSources = "cautions of the safety catalogue, each with its own citation and mark; texts defer to local policy";
    private const string Decided = "what a clinician decides is attributed and quoted (record-keeping duty, see docs/clinical-basis.md)";
    private const string Safety = "safety screen; texts defer to local policy";

    public static readonly NoteRule UrgentFlag = new("urgent-flag", Subjective, StatementKind.Caution,
        "{Emergency | Urgent review}: {flag}, reported on {date}. {what to do}",
        "A red flag that is an emergency or needs urgent review is open. Always the first sentence of the note.", Safety);

    public static readonly NoteRule Words = new("words", Subjective, StatementKind.Reported,
        "On {date} {the person | the carer, name,} reported: “{words}”",
        "A remark by the person, a carer or a support worker in the 14 days to the latest result; if there is none, the latest remark.", Attributed);

    public static readonly NoteRule EarlierWords = new("words-earlier", Subjective, StatementKind.Reported,
        "{n} earlier remarks, from {date} to {date}, are kept in the record.",
        "There are remarks older than those quoted.", Attributed);

    public static readonly NoteRule Pain = new("pain", Subjective, StatementKind.Reported,
        "Pain, 0 to 10, as reported by {who} in the 14 days to {date}: before practice {range}, during {range}, after {range}. Highest during practice: {value}, {exercise} on {date}.",
        "Any pain rating in the 14 days to the latest result.", Attributed);

    public static readonly NoteRule Fatigue = new("fatigue", Subjective, StatementKind.Reported,
        "Fatigue, 0 to 10, as reported by {who} in the 14 days to {date}: {range}, latest {value}; recorded in {n} of {m} results.",
        "Any fatigue rating in the 14 days to the latest result.", Attributed);

    public static readonly NoteRule Effort = new("effort", Subjective, StatementKind.Reported,
        "Effort on the {0 to 10 | 6 to 20} scale, as reported by {who} in the 14 days to {date}: {range}; recorded in {n} of {m} results.",
        "Any rating on that scale in the 14 days to the latest result; the two scales are never mixed.", Attributed);

    public static readonly NoteRule MissedReasons = new("missed-reasons", Subjective, StatementKind.Reported,
        "Reasons given by {who} for missed sessions in the 14 days to {date}: {reason} {n} ({dates}).",
        "A session of the 14 days to the latest result was reported as missed.", Attributed);

    public static readonly NoteRule SkippedReasons = new("skipped-reasons", Subjective, StatementKind.Reported,
        "{exercise}: skipped in {n} sessions in the 14 days to {date} ({reason} {n}). In the reporter's words: “{words}”",
        "An exercise was skipped in a session that was done, in the 14 days to the latest result.", Attributed);

    public static readonly NoteRule HarmReported = new("harm", Subjective, StatementKind.Reported,
        "On {date} {who} reported harm: {kind}, {severity}. “{words}”",
        "Harm was reported with a session.", Attributed);

    public static readonly NoteRule PersonContext = new("person-context", Objective, StatementKind.Finding,
        "Affected side {side}; dominant hand {hand}; onset {date} ({n} days before the latest result).",
        "Always; what is not recorded is said to be so.", Soap);

    public static readonly NoteRule ProgrammeDelivered = new("programme", Objective, StatementKind.Finding,
        "Home programme “{title}”, level {n}, from {date} to {date}: {exercises with dose}.",
        "Always.", Soap);

    public static readonly NoteRule Revision = new("revision", Objective, StatementKind.Reported,
        "From {date}, changed by {clinician}: {exercise and what changed}. Reason: “{reason}”",
        "A clinician changed what is prescribed, by a decision or a revision of the programme; one sentence for all changes made together.", Decided);

    public static readonly NoteRule Pause = new("pause", Objective, StatementKind.Reported,
        "Paused by {clinician} {from {date} to {date} | from {date}, until it is ended}: “{reason}” Nothing is due on these days.",
        "A clinician paused the programme.", Decided);

    public static readonly NoteRule Adherence = new("adherence", Objective, StatementKind.Finding,
        "From {date} to {date}, {n} home sessions were planned: {n} reported done, {n} reported missed, {n} without a report. "
        + "{Adherence lies between {lower} % and {upper} %: {n} of {m} planned sessions have no report. | Adherence is {p} % ({n} of {m}); every planned session has a report.} "
        + "By the definition “{more than 70 % of what was prescribed, or as the clinic set it}” ({citation}), {this is reached | this is not reached | it cannot be said whether this is reached}.",
        "At least one session was due.", NeverBlank + "; the definition: Mahmood 2020, used in stroke (published), or the one the clinic set");

    public static readonly NoteRule NothingDue = new("nothing-due", Objective, StatementKind.Gap,
        "No session was due up to {date}, so adherence cannot be stated.",
        "No session was due up to the latest result.", NeverBlank);

    public static readonly NoteRule ExtraSessions = new("extra-sessions", Objective, StatementKind.Finding,
        "{n} sessions were done beyond the plan; they do not make up for others.",
        "More sessions were done on a day than were planned.", NeverBlank);

    public static readonly NoteRule DoseOfWeek = new("dose", Objective, StatementKind.Finding,
        "{exercise}, week {n} (from {date}): {n} of {m} planned repetitions ({p} %), {minutes} min, on {n} occasions; the week before {n} of {m}.",
        "For each exercise, the week of the latest result and the week before.", "repetitions are counted, not only minutes; planned only up to the latest result: rule of this record");

    public static readonly NoteRule DoseNotRecorded = new("dose-not-recorded", Objective, StatementKind.Gap,
        "{exercise}, week {n}: {n} of {m} occasions have no amount recorded.",
        "A result of that week says neither repetitions nor minutes.", NeverBlank);

    public static readonly NoteRule QualityAndHelp = new("quality-and-help", Objective, StatementKind.Finding,
        "{exercises}: own success criterion met in {n}, partly met in {n} and not met in {n} of the last {m} rated sessions; latest help recorded: {help}.",
        "Quality or help was recorded for the exercise; the last three rated sessions.", Soap);

    public static readonly NoteRule MeasureLatest = new("measure", Objective, StatementKind.Finding,
        "{measure}, {side} ({affected}): {value} {unit} on {date}.",
        "A measure and side has one result, and it was completed.", Soap);

    public static readonly NoteRule MeasureNotCompleted = new("measure-not-completed", Objective, StatementKind.Finding,
        "{measure}, {side}: {status} on {date}. A limit is not a result.",
        "A measure and side has one result, and it was not completed.", "status is kept apart from value; a cut-off time is never a measurement: rule of this record");

    public static readonly NoteRule MeasureChanged = new("measure-change", Objective, StatementKind.Finding,
        "{measure}, {side}: {first} on {date}, {last} on {date} (first and last of {n} results): {difference} {better | worse}. {class of the change} {threshold, level, population, hand, citation, id of the row, why it was picked}",
        "A measure and side has two results or more.", Thresholds);

    public static readonly NoteRule MeasureNorm = new("measure-norm", Objective, StatementKind.Finding,
        "{measure}, {side}: {percent} % of the norm mean, z {z} (positive is better); {sex, ages and hand of the cell, table, citation and mark}. A norm is no target.",
        "The latest completed result of a measure and side has a norm for this person. A table from memory, and a reason why no norm can be read, are shown in the person's progress only.",
        "norm tables of the measures catalogue, each with its own citation and mark");

    public static readonly NoteRule ClinicianWords = new("words-clinician", Objective, StatementKind.Reported,
        "On {date} the clinician, {name}, noted: “{words}”",
        "A session was reported by a clinician with a remark; kept apart from what the person and carer say.", Attributed);

    public static readonly NoteRule NotRecorded = new("not-recorded", Objective, StatementKind.Gap,
        "Not recorded: {item} in {n} of {m} results.",
        "A result of a done exercise in the 14 days to the latest result lacks amount, pain during practice, quality or effort.", NeverBlank);

    public static readonly NoteRule MeasureTrend = new("trend-measure", Assessment, StatementKind.Finding,
        "{measure}, {side}: {improving | worsening} trend over {n} results, {slope} a week (95 % interval {low} to {high}; p = {p}).",
        "Five results or more and a two-sided p below 0.05.", Trends);

    public static readonly NoteRule TrendAndErrorDisagree = new("trend-and-error-disagree", Assessment, StatementKind.Finding,
        "{measure}, {side}: the trend is consistent, but the change from first to last, {difference}, is within measurement error ({threshold}).",
        "A trend is shown while the change from first to last is below the minimal detectable change.", Thresholds);

    public static readonly NoteRule PracticeTrend = new("trend-practice", Assessment, StatementKind.Finding,
        "{exercise}: {repetitions in a session | pain during practice} {rising | falling} over {n} results in the 42 days to {date}, {slope} a week (95 % interval {low} to {high}; p = {p}).",
        "Five results or more in the 42 days to the latest result and a two-sided p below 0.05.", Trends);

    public static readonly NoteRule NoTrend = new("trend-not-shown", Assessment, StatementKind.Finding,
        "No consistent trend shown: {series (n)}.",
        "Five results or more without a two-sided p below 0.05.", Trends);

    public static readonly NoteRule TooFewForTrend = new("trend-too-few", Assessment, StatementKind.Gap,
        "Too few results for a trend (fewer than 5): {series (n)}.",
        "Fewer than five results: no test can reach p below 0.05.", Trends);

    public static readonly NoteRule GoalLevel = new("goal-level", Assessment, StatementKind.Finding,
        "Goal “{goal}”: level {level} on {date} (“{description}”); {level} on {date} at the start.",
        "A level was recorded for the goal.", "five-level goal attainment scaling (Kiresuk and Sherman 1968)");

    public static readonly NoteRule GoalNotRated = new("goal-not-rated", Assessment, StatementKind.Gap,
        "Goal “{goal}”: no level recorded yet.",
        "The goal has no recorded level.", Soap);

    public static readonly NoteRule GoalScore = new("goal-score", Assessment, StatementKind.Finding,
        "Goal attainment T-score over {n} goals: {baseline} at the start, {outcome} now, change {change}. It is read beside the levels.",
        "At least one goal has a level at the start and a later one.", "T-score formula of Kiresuk and Sherman 1968 in the corrected form of Turner-Stokes 2009");

    public static readonly NoteRule OverPractice = new("over-practice", Assessment, StatementKind.Caution,
        "{exercise}, week {n}: {n} of {m} planned {repetitions | minutes} ({p} %), more than {150} % of what was prescribed. Ask about it.",
        "More than 150 % of the prescribed amount (or the share the clinic set) in the week of the latest result or the week before.", "common practice, no source");

    public static readonly NoteRule FlagOutstanding = new("flag-outstanding", Plan, StatementKind.Caution,
        "Outstanding red flag: {flag}, since {date} ({urgency}). {Suggestions to go on are frozen until a registered clinician clears it with a reason.}",
        "A red flag is open. Always first in the plan.", Safety);

    public static readonly NoteRule CautionNewlyApplies = new("caution-newly-applies", Plan, StatementKind.Caution,
        "{caution} now applies to {exercises}: {precaution} is recorded for the person (since {date}), and the prescription does not say so yet. {what to watch for} ({source}) {deferral to local policy}",
        "A precaution is recorded under which a caution attached to the exercise applies, and the prescription, made before, does not hold it.", CautionSources);

    public static readonly NoteRule DecisionMade = new("decision", Plan, StatementKind.Reported,
        "Decision on {date}, {clinician}, for {exercise}: {decision}{, as suggested | , overriding the suggestion to {suggestion}}{, because “{reason}”} It holds from {date}{; the level is locked}.",
        "A clinician decided on a suggestion; of each exercise the latest decision. The suggestion it answers is not made again until there is a later report or the rules say another thing.", Decided);

    public static readonly NoteRule SuggestAdvance = new("suggest-advance", Plan, StatementKind.Suggestion,
        "Suggestion for {exercise}: one step harder in one respect. {reason} Possible: {gradings}. Rule {rule}, rule set {version}{, changed by the clinic}.",
        "The progression rules suggest to advance and no flag is open.", Progressing);

    public static readonly NoteRule SuggestHold = new("suggest-hold", Plan, StatementKind.Suggestion,
        "Suggestion for {exercises}: carry on as prescribed. {reason} Rule {rule}, rule set {version}{, changed by the clinic}.",
        "The progression rules suggest to hold.", Progressing);

    public static readonly NoteRule SuggestStepBack = new("suggest-step-back", Plan, StatementKind.Suggestion,
        "Suggestion for {exercise}: one step easier in one respect. {reason} Possible: {gradings}. Rule {rule}, rule set {version}{, changed by the clinic}.",
        "The progression rules suggest a step back.", Progressing);

    public static readonly NoteRule SuggestStop = new("suggest-stop-and-review", Plan, StatementKind.Suggestion,
        "Suggestion for {exercises}: stop and review before going on. {reason} Rule {rule}, rule set {version}{, changed by the clinic}.",
        "The progression rules suggest to stop and review.", Progressing);

    public static readonly NoteRule SuggestionCaution = new("suggestion-caution", Plan, StatementKind.Caution,
        "Suggestions come from rules and change nothing by themselves. Follow local policy; the registered clinician decides.",
        "Whenever a suggestion is made.", Safety);

    public static readonly NoteRule AskAboutMissingReports = new("ask-missing-reports", Plan, StatementKind.Suggestion,
        "Suggestion: ask about the planned sessions without a report.",
        "A planned session has no report.", NeverBlank);

    public static readonly NoteRule ReviewDate = new("review-date", Plan, StatementKind.Finding,
        "The programme {ends | ended} on {date}. {Goals due: dates.}",
        "The programme has a last day.", Soap);

    public static IReadOnlyList<NoteRule> All { get; } =
    [
        UrgentFlag, Words, EarlierWords, Pain, Fatigue, Effort, MissedReasons, SkippedReasons, HarmReported,
        PersonContext, ProgrammeDelivered, Revision, Pause, Adherence, NothingDue, ExtraSessions, DoseOfWeek, DoseNotRecorded, QualityAndHelp,
        MeasureLatest, MeasureNotCompleted, MeasureChanged, MeasureNorm, ClinicianWords, NotRecorded,
        MeasureTrend, TrendAndErrorDisagree, PracticeTrend, NoTrend, TooFewForTrend, GoalLevel, GoalNotRated, GoalScore, OverPractice,
        FlagOutstanding, CautionNewlyApplies, DecisionMade, SuggestAdvance, SuggestHold, SuggestStepBack, SuggestStop, SuggestionCaution, AskAboutMissingReports, ReviewDate,
    ];

    /// <summary>The rules of every kind of document.</summary>
    public static IReadOnlyList<NoteRule> OfAllDocuments { get; } = [.. All, .. Discharges.DischargeRules.All, .. Letters.LetterRules.All];

    private static readonly Dictionary<string, NoteRule> ById = OfAllDocuments.ToDictionary(r => r.Id, StringComparer.Ordinal);

    /// <summary>The kind of statement a rule makes; a finding where the rule is no longer in use.</summary>
    public static string KindOf(string id) => ById.GetValueOrDefault(id)?.Kind ?? StatementKind.Finding;

    /// <summary>
    /// The rule of a stored statement. One that is no longer used keeps its id, so that an old note can still be read; its
    /// sentence counts as a finding.
    /// </summary>
    public static NoteRule Of(string id, NoteSection section) =>
        ById.GetValueOrDefault(id) ?? new NoteRule(id, section, StatementKind.Finding, "", "", "rule no longer in use");
}
