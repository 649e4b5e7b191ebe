using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Library;
using RehabRecords.Terms;

namespace RehabRecords.Programmes;

/// <summary>The fields of the reporting standards, as a stored programme fills them.</summary>
internal static class ReportingFields
{
    private const string Report = "reporting.";

    private sealed record Field(string FilledBy, Func<CarePlan, ReportingRequest, bool, bool>? OfProgramme, Func<ServiceRequest, bool>? OfExercise = null);

    private static Field Told(string member, Func<ReportingRequest, bool> has) => new(Report + member, (_, r, _) => has(r));

    private static Field InLibrary(string member, Func<ServiceRequest, bool> has) => new($"{member} of the exercise in the library", null, has);

    private static Field OfEach(string member, Func<ServiceRequest, bool> has) => new($"exercises[].{member}", null, has);

    private static readonly Dictionary<string, Field> All = new(StringComparer.Ordinal)
    {
        ["programme.title"] = new("title", (p, _, _) => !string.IsNullOrWhiteSpace(p.Title)),
        ["programme.goal"] = new("goals", (p, _, _) => p.Goal.Count > 0),
        ["programme.duration"] = new("end", (p, _, _) => p.Period?.End is not null),
        ["programme.level-reason"] = new("levelReason", (p, _, _) => p.GetExtension(Extensions.LevelReason) is not null),
        // A clinician is never recorded without a role.
        ["programme.author-role"] = new("author", (p, _, _) => p.Author is not null),
        ["programme.training"] = Told("training", r => r.Training is not null),
        ["programme.grouping"] = Told("grouping", r => r.Grouping is not null),
        ["programme.supervision"] = Told("supervision", r => r.Supervision is not null),
        ["programme.setting"] = Told("setting", r => r.Setting is not null),
        ["programme.motivation"] = Told("motivation", r => r.Motivation is not null),
        ["programme.adherence-measure"] = Told("adherenceMeasure", r => r.AdherenceMeasure is not null),
        ["programme.fidelity-measure"] = Told("fidelityMeasure", r => r.FidelityMeasure is not null),
        ["programme.progression-rule"] = Told("progressionRule", r => r.ProgressionRule is not null),
        ["programme.harm-reporting"] = Told("harmReporting", r => r.HarmReporting is not null),
        ["programme.other-parts"] = Told("otherParts", r => r.OtherParts is not null),
        ["programme.tailored"] = Told("tailored", r => r.Tailored is not null),
        // Of a generic programme there is nothing more to say.
        ["programme.tailoring-reason"] = Told("tailoringReason", r => r.TailoringReason is not null || r.Tailored == ReportingRequest.Generic),
        // The record keeps every change and counts what was done, so these fill by themselves with the first report.
        ["programme.changes"] = new(WithPractice, (p, _, practised) => practised || p.Replaces.Count > 0),
        ["programme.fidelity-result"] = new(WithPractice, (_, _, practised) => practised),
        ["exercise.equipment"] = InLibrary("equipment", r => r.GetExtension(Extensions.Equipment) is not null),
        ["exercise.instructions"] = InLibrary("instructions", r => !string.IsNullOrWhiteSpace(r.PatientInstruction)),
        ["exercise.grading"] = InLibrary("grading", r => r.GetExtension(Extensions.Grading) is not null),
        ["exercise.position"] = OfEach("position", r => ExerciseParts.SetUpOf(r)?.Position is not null),
        ["exercise.help-level"] = OfEach("helpLevel", r => ExerciseParts.SetUpOf(r)?.HelpLevel is not null),
        ["exercise.side"] = OfEach("side", r => r.BodySite.Count > 0),
        ["exercise.dosage"] = OfEach("dosage", r => ExerciseParts.SetUpOf(r)?.Dosage is { } d && (d.Sets ?? d.Repetitions ?? d.Minutes) is not null),
        ["exercise.schedule"] = OfEach("schedule", r => r.Occurrence is Timing { Repeat.Frequency: not null }),
    };

    public const string WithPractice = "the record itself, once practice is reported";

    /// <summary>The member of the request that fills it, or what else does.</summary>
    public static string FilledBy(string field) => All[field].FilledBy;

    /// <summary>Whether somebody can fill it before anything was practised.</summary>
    public static bool CanBePrescribed(string field) => All[field].FilledBy != WithPractice;

    /// <summary>Titles of the exercises that lack it; empty for a field of the programme.</summary>
    public static IReadOnlyList<string> Lacking(string field, IEnumerable<ServiceRequest> requests) =>
        All[field].OfExercise is { } has ? [.. requests.Where(r => !has(r)).Select(r => r.Code?.Text ?? r.Id!)] : [];

    /// <param name="practised">Whether a session was reported, done or missed.</param>
    public static IReadOnlyList<string> Filled(CarePlan programme, IReadOnlyCollection<ServiceRequest> requests, bool practised)
    {
        var told = ReportingRequest.From(programme) ?? new ReportingRequest();
        return [.. ReportingCheck.Fields.Where(name => All[name] is { OfExercise: { } has }
            ? requests.Count > 0 && requests.All(has)
            : All[name].OfProgramme!(programme, told, practised))];
    }
}
