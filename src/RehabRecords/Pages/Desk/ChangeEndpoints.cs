using RehabRecords.Decisions;
using RehabRecords.Library;
using RehabRecords.Programmes;

namespace RehabRecords.Pages.Desk;

/// <summary>The small forms by which a programme in force is changed: each a decision, a revision or a pause.</summary>
internal static class ChangeEndpoints
{
    public static void MapChanges(this IEndpointRouteBuilder routes)
    {
        var desk = routes.MapGroup("/programmes/{id}/desk");
        desk.MapPost("decision", (string id, IFormCollection form, HttpContext http, Decide decide, CancellationToken ct) =>
            DeskEndpoints.ChangeAsync(id, form, http, "decision", "decided", async typed => await decide.RunAsync(id, await typed.AskAsync(http, new DecisionRequest
            {
                Exercise = form.Text("exercise"),
                Decision = form.Text("decision"),
                Grading = form.Text("grading.dimension") is { } dimension ? new StepRequest { Dimension = dimension, Text = form.Text("grading.text") } : null,
                Dosage = ExerciseFields.Of(form, "").DosageOf("", typed) is var dosage && dosage != new DosageRequest() ? dosage : null,
                From = typed.Day("from", form.Text("from")),
                Lock = form.Text("lock") switch { "yes" => true, "no" => false, _ => null },
                Reason = form.Text("reason"),
                By = ClinicianFields.By(http, form, "by").ToClinician(),
            }, ct), ct), ct));
        desk.MapPost("revision", (string id, IFormCollection form, HttpContext http, ReviseProgramme revise, CancellationToken ct) =>
            DeskEndpoints.ChangeAsync(id, form, http, "revision", "revised", async typed => await revise.RunAsync(id, await typed.AskAsync(http, RevisionOf(http, form, typed), ct), ct), ct));
        desk.MapPost("pause", (string id, IFormCollection form, HttpContext http, PauseProgramme pause, CancellationToken ct) =>
            DeskEndpoints.ChangeAsync(id, form, http, "pause", "paused", async typed => await pause.BeginAsync(id, await typed.AskAsync(http, new PauseRequest
            {
                From = typed.Day("from", form.Text("from")),
                To = typed.Day("to", form.Text("to")),
                Reason = form.Text("reason"),
                By = ClinicianFields.By(http, form, "by").ToClinician(),
            }, ct), ct), ct));
        desk.MapPost("pauses/{from}/end", (string id, string from, IFormCollection form, HttpContext http, PauseProgramme pause, CancellationToken ct) =>
            DeskEndpoints.ChangeAsync(id, form, http, $"end-{from}", "pause-ended", async typed => await pause.EndAsync(id, from, await typed.AskAsync(http, new PauseEndRequest
            {
                To = typed.Day("to", form.Text("to")),
                By = ClinicianFields.By(http, form, "by").ToClinician(),
            }, ct), ct), ct));
    }

    /// <summary>One exercise is changed, added or stopped by each form; several changes of one day are several forms.</summary>
    private static RevisionRequest RevisionOf(HttpContext http, IFormCollection form, Typed typed)
    {
        var fields = ExerciseFields.Of(form, "");
        var what = form.Text("what");
        return new RevisionRequest
        {
            From = typed.Day("from", form.Text("from")),
            Add = what == "add" ? [new PrescriptionRequest { Exercise = fields.Exercise, Side = fields.Side }] : null,
            Stop = what == "stop" ? [fields.Exercise] : null,
            Change = what == "change"
                ? [new ChangeRequest
                {
                    Exercise = fields.Exercise,
                    Dosage = fields.DosageOf("", typed) is var dosage && dosage != new DosageRequest() ? dosage : null,
                    Schedule = fields is { TimesPerDay: null, Days.Count: 0, TimesOfDay: null } ? null : fields.ScheduleOf("", typed),
                    HandOrder = fields.HandOrder,
                    Position = fields.Position,
                    HelpLevel = fields.HelpLevel,
                    Instruction = fields.Instruction,
                }]
                : null,
            Reason = form.Text("reason"),
            By = ClinicianFields.By(http, form, "by").ToClinician(),
        };
    }
}
