using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Programmes;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Sessions;

/// <summary>A result together with the prescription it belongs to.</summary>
internal sealed record PlacedResult(ResultRequest Result, string Prescription, string Exercise, string Title, string? Side);

/// <summary>A reported session as resources: Procedure, one Observation per exercise, AdverseEvents.</summary>
internal static class SessionResources
{
    public static Procedure ToProcedure(this SessionRequest request, ResourceReference reporter, IReadOnlyList<PlacedResult> results, DateTimeOffset now)
    {
        var performed = request.DoneAt is { } at ? new FhirDateTime(at) : new FhirDateTime(Timings.Iso(request.Missed!.PlannedFor!.Value));
        var notDone = NotDoneReason(request, results);
        var procedure = new Procedure
        {
            Identifier = request.Identifier is { } identifier ? [identifier.ToFhir()] : [],
            BasedOn = [new ResourceReference($"CarePlan/{Rules.Bare(request.Programme!, "CarePlan")}")],
            Status = notDone is null ? EventStatus.Completed : EventStatus.NotDone,
            StatusReason = notDone,
            Code = Concepts.Concept(Systems.SessionItem, SessionItem.HomeSession, "Home practice session"),
            Subject = new ResourceReference($"Patient/{Rules.Bare(request.Person!, "Patient")}"),
            Performed = performed,
            Asserter = Copy(reporter),
            Note = [.. new[] { request.Missed?.Note, request.Remark }.OfType<string>().Select(text => Said(reporter, text))],
            Text = Readable.Of([
                request.DoneAt is { } done
                    ? $"Home practice session of {done:d MMMM yyyy, HH:mm zzz}."
                    : $"Home practice session planned for {request.Missed!.PlannedFor:d MMMM yyyy}.",
                notDone is null ? "Done." : PlainWords.Sentence($"Not done: {notDone.Text}"),
                $"Reported by: {request.ReportedBy!.Role}{(request.ReportedBy.Name is { } name ? $", {name}" : "")}.",
                request.Missed?.Note is { } missedNote ? PlainWords.Sentence($"In their words: {missedNote}") : null,
                request.Remark is { } remark ? PlainWords.Sentence($"In their words: {remark}") : null]),
        };
        procedure.Profiled(Profiles.Session);
        procedure.Extension.Add(new Extension(Extensions.RecordedAt, new Instant(now)));
        return procedure;
    }

    public static Observation ToObservation(this PlacedResult placed, Procedure session, ResourceReference reporter)
    {
        var result = placed.Result;
        var side = result.Side ?? placed.Side;
        var observation = new Observation
        {
            Status = ObservationStatus.Final,
            BasedOn = [new ResourceReference($"ServiceRequest/{placed.Prescription}")],
            PartOf = [new ResourceReference($"Procedure/{session.Id}")],
            Category = [Concepts.Concept(Systems.ObservationCategory, "therapy"), Concepts.Concept(Systems.ObservationCategory, "activity")],
            Code = Concepts.Concept(Systems.Exercise, placed.Exercise, placed.Title),
            Subject = new ResourceReference(session.Subject.Reference),
            Effective = (DataType)session.Performed!.DeepCopy(),
            Performer = [Copy(reporter)],
            BodySite = side is null ? null : Sides.BodySite(side),
        };
        observation.Profiled(Profiles.ExerciseResult);
        if (result.Skipped is { } skipped)
        {
            observation.DataAbsentReason = Concepts.Concept(Systems.DataAbsentReason, "not-performed", CodeLists.NotDoneReason.Words(skipped.Reason!))
                .And(Systems.NotDoneReason, skipped.Reason!);
            if (skipped.Note is { } note)
                observation.Note = [Said(reporter, note)];
        }
        else if (result.SaysWhatWasDone)
            observation.Component = [.. ResultComponents.Of(result)];
        else
            // Done, and nothing counted: said so, because a count of 0 would be another thing.
            observation.DataAbsentReason = Concepts.Concept(Systems.DataAbsentReason, "unknown", "Done; nothing else was recorded");
        observation.Text = Readable.Of(ResultComponents.Words(placed, side));
        return observation;
    }

    public static AdverseEvent ToAdverseEvent(this HarmRequest harm, Procedure session, ResourceReference reporter, DateTimeOffset now) => new()
    {
        Actuality = AdverseEvent.AdverseEventActuality.Actual,
        Event = Concepts.Concept(Systems.AdverseEventKind, harm.Kind!, harm.Description),
        Subject = new ResourceReference(session.Subject.Reference),
        DateElement = (FhirDateTime)session.Performed!.DeepCopy(),
        RecordedDateElement = new FhirDateTime(now),
        Severity = Concepts.Concept(Systems.AdverseEventSeverity, harm.Severity!),
        Recorder = Copy(reporter),
        SuspectEntity = [new AdverseEvent.SuspectEntityComponent { Instance = new ResourceReference($"Procedure/{session.Id}") }],
        Text = Readable.Of(
            $"{CodeLists.AdverseEventKind.Words(harm.Kind!)}, {harm.Severity}.",
            PlainWords.Sentence($"In the reporter's words: {harm.Description}")),
    };

    /// <summary>
    /// Why nothing was practised, or null when something was. An occasion of which every exercise was skipped, or on
    /// which only an event is reported, is not counted as practice.
    /// </summary>
    private static CodeableConcept? NotDoneReason(SessionRequest request, IReadOnlyList<PlacedResult> results)
    {
        if (request.Missed is { } missed)
            return CodeLists.NotDoneReason.Concept(missed.Reason!);
        if (results.Any(r => r.Result.Skipped is null))
            return null;
        var reasons = results.Select(r => r.Result.Skipped!.Reason!).Distinct().ToList();
        return reasons switch
        {
            [] => Concepts.Concept(Systems.NotDoneReason, "other", "no practice was reported, only an event"),
            [var one] => CodeLists.NotDoneReason.Concept(one),
            _ => Concepts.Concept(Systems.NotDoneReason, "other", $"every exercise was skipped: {string.Join(", ", reasons.Select(CodeLists.NotDoneReason.Words))}"),
        };
    }

    /// <summary>R4 does not let a note refer to a PractitionerRole, so a support worker is named in words.</summary>
    private static Annotation Said(ResourceReference reporter, string text) => new()
    {
        Author = reporter.Type == "PractitionerRole" ? new FhirString($"Support worker: {reporter.Display}") : Copy(reporter),
        Text = text,
    };

    private static ResourceReference Copy(ResourceReference reference) => (ResourceReference)reference.DeepCopy();
}
