using RehabRecords.Notes;
using RehabRecords.Terms;
using static RehabRecords.Notes.NoteSection;

namespace RehabRecords.Discharges;

/// <summary>
/// The rules that write a discharge summary, beside those of a progress note that it shares. docs/note-rules.md shows the
/// same list to clinicians.
/// </summary>
public static class DischargeRules
{
    private const string Minimum = "content of a discharge summary by heading: national heading set; which facts stand where: common practice, no source";
    private const string Stated = "what a clinician states is attributed and quoted (record-keeping duty, see docs/clinical-basis.md)";
    private const string Safety = "safety screen; texts defer to local policy";

    public static readonly NoteRule Person = new("discharge-person", PatientDemographics, StatementKind.Finding,
        "{name}, born {date} ({n} years at discharge), {sex}. {Identifiers.} {Address and telephone.}",
        "Always; what is not recorded is left out.", Minimum);

    public static readonly NoteRule Gp = new("discharge-gp", GpPractice, StatementKind.Finding,
        "GP practice: {name}.", "The record names a general practitioner or practice.", Minimum);

    public static readonly NoteRule Referrer = new("discharge-referrer", ReferrerDetails, StatementKind.Reported,
        "Referred by, as {clinician} states: “{words}”", "The clinician named the referrer.", Stated);

    public static readonly NoteRule Episode = new("discharge-episode", AdmissionDetails, StatementKind.Finding,
        "Episode of care from {date}: {n} home programmes: “{title}”, level {n}, from {date} to {date}; …", "Always.", Minimum);

    public static readonly NoteRule Discharge = new("discharge-details", DischargeDetails, StatementKind.Reported,
        "Discharged on {date} by {clinician}. Destination: “{words}” Reason: “{words}”", "Always.", Stated);

    public static readonly NoteRule Diagnosis = new("discharge-diagnosis", Diagnoses, StatementKind.Reported,
        "Diagnosis, as {clinician} states it: “{words}”", "The clinician stated a diagnosis. The software never does.", Stated);

    public static readonly NoteRule Condition = new("discharge-condition", Diagnoses, StatementKind.Finding,
        "Affected side {side}; dominant hand {hand}; onset {date} ({n} days before discharge).", "Always; what is not recorded is said to be so.", Minimum);

    public static readonly NoteRule Course = new("discharge-course", ClinicalSummary, StatementKind.Finding,
        "From {date} to {date}: {n} home programmes, {n} sessions reported done and {n} reported missed.", "Always.", Minimum);

    public static readonly NoteRule Outcome = new("discharge-outcome", ClinicalSummary, StatementKind.Finding,
        "First against last result, by measure and side: {better, at or above measurement error: measures}; {within measurement error: …}; {worse, …}; {change of category: …}; {no threshold to compare with: …}.",
        "A measure and side has two results or more.", "threshold rows of the measures catalogue, each with its own citation and mark");

    public static readonly NoteRule Attainment = new("discharge-attainment", ClinicalSummary, StatementKind.Finding,
        "Of {n} goals, {n} at the expected level or above, {n} below it, {n} without a recorded level.", "A programme has goals.",
        "five-level goal attainment scaling (Kiresuk and Sherman 1968)");

    public static readonly NoteRule DoseInAll = new("discharge-dose", Procedures, StatementKind.Finding,
        "{exercise}, in all: {{n} of {m} planned repetitions ({p} %) | none of {m} planned repetitions reported}, {minutes} min, on {n} occasions{; {n} of them without an amount}.",
        "For each exercise, over its whole course.", "repetitions are counted, not only minutes; planned only up to the day of discharge: rule of this record");

    public static readonly NoteRule Supplied = new("discharge-equipment-supplied", Devices, StatementKind.Reported,
        "Supplied, as {clinician} states: {items}.", "The clinician named equipment that was supplied.", Stated);

    public static readonly NoteRule Used = new("discharge-equipment-used", Devices, StatementKind.Finding,
        "Used for the exercises: {item (or household alternative)}.", "An exercise of a programme at discharge needs equipment.", Minimum);

    public static readonly NoteRule NoMedicines = new("discharge-no-medicines", Devices, StatementKind.Gap,
        "Medicines are not kept in this record; absence here does not mean that there are none.", "Always, since equipment under the same heading would read as if it were all.", Minimum);

    public static readonly NoteRule OpenFlag = new("discharge-flag-open", SafetyAlerts, StatementKind.Caution,
        "Outstanding red flag: {flag}, since {date} ({urgency}). {what to do}", "A red flag is open. Nobody can be discharged over one; it can be raised by a late report.", Safety);

    public static readonly NoteRule ClearedFlag = new("discharge-flag-cleared", SafetyAlerts, StatementKind.Reported,
        "Red flag {flag}, since {date}: cleared on {date} by {clinician}, because “{reason}”", "A red flag was raised in the episode and cleared.", Stated);

    public static readonly NoteRule Precaution = new("discharge-precaution", SafetyAlerts, StatementKind.Caution,
        "Precaution: {precaution}, since {date}.", "A precaution of the person is active.", Safety);

    public static readonly NoteRule Caution = new("discharge-caution", SafetyAlerts, StatementKind.Caution,
        "{Stop rule | Take care} ({caution}{, when}), for {exercises}: {text} {(source)}", "A prescription at discharge carries the caution or stop rule; each text once.", "cautions of the exercises and of the safety catalogue, each with its own citation and mark");

    public static readonly NoteRule PainLimit = new("discharge-pain-limit", SafetyAlerts, StatementKind.Caution,
        "Pain limit agreed for “{programme}”: {n} of 10; pain above it raised a flag. {deferral to local policy}", "For each programme at discharge.", Safety);

    public static readonly NoteRule NoHarm = new("discharge-no-harm", SafetyAlerts, StatementKind.Gap,
        "No adverse event is recorded. What was not reported is not known.", "No harm was reported with a session of the episode.", Minimum);

    public static readonly NoteRule Legal = new("discharge-legal", LegalInformation, StatementKind.Reported,
        "As {clinician} states: “{words}”", "The clinician stated capacity, consent or another legal matter.", Stated);

    public static readonly NoteRule Social = new("discharge-social", SocialContext, StatementKind.Reported,
        "As {clinician} states: “{words}”", "The clinician stated the social context.", Stated);

    public static readonly NoteRule Carer = new("discharge-carer", SocialContext, StatementKind.Finding,
        "Carer: {name}, {relationship}{, telephone}.", "A carer is recorded.", Minimum);

    public static readonly NoteRule Requirements = new("discharge-requirements", IndividualRequirements, StatementKind.Reported,
        "As {clinician} states: “{words}”", "The clinician stated individual needs.", Stated);

    public static readonly NoteRule Wishes = new("discharge-wishes", Concerns, StatementKind.Reported,
        "As {clinician} states: “{words}”", "The clinician stated concerns, expectations or wishes of the person or the carer.", Stated);

    public static readonly NoteRule LastWords = new("discharge-words", Concerns, StatementKind.Reported,
        "On {date} {the person | the carer, name,} reported: “{words}”", "The latest remark of the person, and the latest of each carer or support worker.",
        "what a person or carer says is attributed and quoted (record-keeping duty, see docs/clinical-basis.md)");

    public static readonly NoteRule Information = new("discharge-information", InformationGiven, StatementKind.Reported,
        "As {clinician} states: “{words}”", "The clinician stated what information and advice was given.", Stated);

    public static readonly NoteRule Training = new("discharge-training", InformationGiven, StatementKind.Reported,
        "Carer training, as {clinician} states: {who}{, on {date}}: “{words}”{ Observed afterwards: “{words}”}", "The clinician named training of a carer.", Stated);

    public static readonly NoteRule Briefing = new("discharge-briefing", InformationGiven, StatementKind.Finding,
        "Briefing sent {on {date}} to {who}: {acknowledged | not acknowledged in the record}.", "A briefing of a carer is recorded.", Minimum);

    public static readonly NoteRule NoTraining = new("discharge-no-training", InformationGiven, StatementKind.Gap,
        "No carer training and no briefing is recorded.", "Neither is recorded.", Minimum);

    public static readonly NoteRule Contact = new("discharge-contact", InformationGiven, StatementKind.Reported,
        "Contact for problems, as {clinician} states: “{words}”", "The clinician named whom to contact.", Stated);

    public static readonly NoteRule Emergency = new("discharge-emergency", InformationGiven, StatementKind.Caution,
        "Sudden drooping of the face, new weakness, change in speech, chest pain or collapse: call the emergency number (999, 112 or 911) at once. Otherwise follow local policy.",
        "Always.", "NHS practice pages: face, arms, speech, time; texts defer to local policy");

    public static readonly NoteRule AtDischarge = new("discharge-programme", PlanAndActions, StatementKind.Finding,
        "Programme at discharge: “{title}”{, level {n}}, from {date} to {date}. It ends with the discharge; whether practice goes on is the registered clinician's to say.",
        "For each programme that was under way at discharge.", Minimum);

    public static readonly NoteRule Exercise = new("discharge-exercise", PlanAndActions, StatementKind.Finding,
        "{exercise}: {what the person was told}", "Each exercise in force at discharge, in full.", Minimum);

    public static readonly NoteRule Action = new("discharge-action", PlanAndActions, StatementKind.Reported,
        "Requested by {clinician}: “{words}” Owner: {who}. {By {date}. | No day was set.}", "For each action that the clinician named, in order.", Stated);

    public static readonly NoteRule NoActions = new("discharge-no-actions", PlanAndActions, StatementKind.Gap,
        "No further action was named.", "The clinician named no action.", Minimum);

    public static readonly NoteRule Review = new("discharge-review", PlanAndActions, StatementKind.Reported,
        "Review on {date}, as {clinician} states.", "The clinician gave a review date.", Stated);

    public static readonly NoteRule NoReview = new("discharge-no-review", PlanAndActions, StatementKind.Gap,
        "No review date was given.", "The clinician gave no review date.", Minimum);

    public static readonly NoteRule LeftOpen = new("discharge-left-open", PlanAndActions, StatementKind.Reported,
        "Left open at discharge: {what it is}. {clinician} accepts this, because “{reason}”", "The clinician overrode a blocker of the discharge. A red flag can never be overridden.", Stated);

    public static readonly NoteRule Author = new("discharge-author", PersonCompleting, StatementKind.Reported,
        "Discharge form filled in by {clinician}; the rest was drafted by software from the record.", "Always.", Stated);

    public static readonly NoteRule Recipient = new("discharge-recipient", DistributionList, StatementKind.Reported,
        "{name}, {role}{, organisation}.", "For each recipient that the clinician named.", Stated);

    public static IReadOnlyList<NoteRule> All { get; } =
    [
        Person, Gp, Referrer, Episode, Discharge, Diagnosis, Condition, Course, Outcome, Attainment, DoseInAll, Supplied, Used, NoMedicines,
        OpenFlag, ClearedFlag, Precaution, Caution, PainLimit, NoHarm, Legal, Social, Carer, Requirements, Wishes, LastWords,
        Information, Training, Briefing, NoTraining, Contact, Emergency, AtDischarge, Exercise, Action, NoActions, Review, NoReview, LeftOpen, Author, Recipient,
    ];
}
