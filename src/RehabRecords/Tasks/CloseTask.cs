using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Tasks;

/// <summary>Closes a task as done, or as not going to be done, and keeps who said so and why.</summary>
public sealed class CloseTask(Recording recording, RecordStore store, TimeProvider clock)
{
    public Task<IResult> RunAsync(string id, Posted<OutcomeRequest> posted, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var (task, version) = await TaskEndpoints.WorkAsync(id, store, cancel);
            if (!OpenTasks.IsToDo(task))
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"Task '{id}' is {task.StatusElement?.JsonValue}, not open; read /api/tasks/{id} for what came of it.", "id");
            if (task.ToAnswer().SettledBy is { } other)
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, other == OpenTasks.Conflict
                    ? $"Task '{id}' is a choice between two versions; decide it (POST /api/exchange/conflicts/{id}/resolution)."
                    : $"Task '{id}' is about a briefing; brief the carer and have it acknowledged (POST /api/{task.BasedOn.FirstOrDefault()?.Reference?.Replace("CarePlan", "programmes", StringComparison.Ordinal)}/briefing).", "id");
            var (asked, now) = (posted.Body, clock.GetUtcNow());
            var done = asked.Outcome == OutcomeRequest.Done;
            var by = await asked.By!.ReferenceAsync(store, set, cancel);
            var words = PlainWords.Sentence($"{(done ? "Done" : "Not going to be done")}, as stated on {now:d MMMM yyyy} by {by.Display}{(asked.Reason is { } reason ? $": {reason}" : "")}");
            task.Text = Readable.Of([.. Narratives.Lines(task), words]);
            task.Status = done ? FhirTask.TaskStatus.Completed : FhirTask.TaskStatus.Cancelled;
            task.StatusReason = done || asked.Reason is null ? null : new CodeableConcept { Text = asked.Reason };
            task.LastModifiedElement = new FhirDateTime(now);
            task.Note.Add(new Annotation { Author = by, TimeElement = new FhirDateTime(now), Text = words });
            set.Update(task, version);
            return new Recorded<TaskAnswer>(StatusCodes.Status200OK, "", task.ToAnswer());
        }, ct, Clinician.Tries);
}
