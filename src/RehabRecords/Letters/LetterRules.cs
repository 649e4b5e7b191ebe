using RehabRecords.Notes;
using RehabRecords.Terms;
using static RehabRecords.Notes.NoteSection;

namespace RehabRecords.Letters;

/// <summary>
/// The rules that write a transfer letter, beside those of the progress note and the discharge summary that it shares.
/// docs/note-rules.md shows the same list to clinicians.
/// </summary>
public static class LetterRules
{
    private const string Minimum = "content of a transfer of care by heading: national heading set; which facts stand where: common practice, no source";
    private const string Stated = "what a clinician states is attributed and quoted (record-keeping duty, see docs/clinical-basis.md)";

    public static readonly NoteRule To = new("transfer-to", DistributionList, StatementKind.Reported,
        "To {name}, {role}{, organisation}.", "Always.", Stated);

    public static readonly NoteRule Copy = new("transfer-copy", DistributionList, StatementKind.Reported,
        "Copy to {name}, {role}{, organisation}.", "For each further recipient that the clinician named.", Stated);

    public static readonly NoteRule Person = new("transfer-person", PatientDemographics, StatementKind.Finding,
        "{name}, born {date} ({n} years), {sex}. {Identifiers.} {Address and telephone.}",
        "Always; what is not recorded is left out.", Minimum);

    public static readonly NoteRule Reason = new("transfer-reason", PlanAndActions, StatementKind.Reported,
        "{clinician}, hands the care over {from {date} | (no day is settled yet)}, because: “{words}”", "Always.", Stated);

    public static readonly NoteRule Request = new("transfer-request", PlanAndActions, StatementKind.Reported,
        "Asked of you, in the words of {clinician}: “{words}”", "Always.", Stated);

    public static readonly NoteRule Condition = new("transfer-condition", Diagnoses, StatementKind.Finding,
        "Affected side {side}; dominant hand {hand}; onset {date} ({n} days before this letter).", "Always; what is not recorded is said to be so.", Minimum);

    public static readonly NoteRule Programme = new("transfer-programme", Procedures, StatementKind.Finding,
        "Home programme “{title}”{, level {n}}, {in force | on hold | ended}, from {date} to {date}; every exercise follows in brief. Whether it goes on, and how, is the registered clinician's to decide who takes over.",
        "For each programme that is under way; the last one, where none is.", Minimum);

    public static readonly NoteRule Exercise = new("transfer-exercise", Procedures, StatementKind.Finding,
        "{exercise}: {how many}. {How often}. {Position}. {Help}. {For this person: “{words}”}", "For each exercise in force, in brief; its steps, equipment and cautions are in the prescription.", Minimum);

    public static readonly NoteRule Author = new("transfer-author", PersonCompleting, StatementKind.Reported,
        "Written by {clinician}; the rest was drafted by software from the record.", "Always.", Stated);

    public static IReadOnlyList<NoteRule> All { get; } = [To, Copy, Person, Reason, Request, Condition, Programme, Exercise, Author];
}
