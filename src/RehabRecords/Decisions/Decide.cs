using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Decisions;

/// <summary>
/// A clinician confirms or overrides a suggestion. The suggestion as it stood is kept with the decision; where it changes
/// the prescription, a new one replaces the old one in the same transaction, and the open draft is redone.
/// </summary>
public sealed class Decide(RecordStore store, Recording recording, ProgressReader reader, UpToDate upToDate, MeasureCatalogue catalogue, ClinicRules rules, TimeProvider clock)
{
    /// <summary>Sessions may be posted for the same programme meanwhile; each lost race means that another request got in, so this ends.</summary>
    internal const int Tries = 20;

    public Task<IResult> RunAsync(string programme, Posted<DecisionRequest> posted, CancellationToken ct)
    {
        int? known = null;
        return recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var hand = await ProgrammeInHand.OpenAsync(store, reader, programme, clock.GetUtcNow(), cancel);
            var prescription = hand.Current("exercise", posted.Body.Exercise!);
            var earlier = hand.Record.Decisions.Where(d => d.Planned == prescription.Planned.Id).ToList();
            // Who lost the race to another decision about the same exercise decided without knowing it.
            if (known is not null && known != earlier.Count)
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                    $"exercise is '{posted.Body.Exercise}', about which {earlier[^1].By} decided at the same moment ({earlier[^1].Code}, from {earlier[^1].From:yyyy-MM-dd}); "
                    + $"read /api/programmes/{programme}/decisions and decide again if it is still needed.", "exercise");
            known = earlier.Count;
            return await PrepareAsync(posted.Body, hand, prescription, earlier, set, cancel);
        }, ct, Tries);
    }

    private async Task<Recorded<DecisionAnswer>> PrepareAsync(
        DecisionRequest request, ProgrammeInHand hand, Prescription prescription, List<Progress.Decision> earlier, WriteSet set, CancellationToken ct)
    {
        var suggestion = Findings.Of(hand.Record, catalogue, rules).Suggestions.FirstOrDefault(s => s.Planned == prescription.Planned.Id)
            ?? throw Missing.Bad("exercise", $"exercise is '{request.Exercise}', which is not yet due on {hand.Record.AsOf:yyyy-MM-dd}, the day of the latest result, so nothing is suggested to decide on; change it by a revision of the programme.");
        var step = request.Decision is DecisionCode.Advance or DecisionCode.StepBack
            ? Step.Of(request, prescription, await hand.AsPrescribedAsync("exercise", prescription, ct), earlier)
            : null;
        Check(request, hand, prescription, suggestion, step);
        var from = hand.From("from", request.From, prescription);

        var by = await request.By!.ReferenceAsync(store, set, ct);
        var old = hand.RequestOf(prescription);
        var replaced = step is null ? null : hand.Replace(set, prescription, step.Prescribed, from, by);
        if (request.Decision == DecisionCode.Stop)
            hand.Stop(set, prescription, from);
        if (replaced is not null || request.Decision == DecisionCode.Stop)
            await hand.SaveAsync(set, ct);
        var decided = new Decided(
            request.Decision!, old, prescription.Planned.Id, from, by, request.Reason,
            $"{prescription.Planned.Title}: {step?.Words ?? (request.Decision == DecisionCode.Stop ? "stopped" : "carry on as prescribed")}")
        {
            Suggested = suggestion,
            Step = step?.Grading,
            Lock = request.Lock,
            Prescription = replaced,
            Ended = replaced is not null || request.Decision == DecisionCode.Stop ? old : null,
        };
        var task = set.Create(decided.ToTask(hand.Plan, earlier.Count, hand.Now));
        await upToDate.AddToOpenAsync(set, hand.Record, ct);
        return new Recorded<DecisionAnswer>(StatusCodes.Status201Created, $"/fhir/Task/{task.Id}", DecisionAnswer.Of(task));
    }

    /// <summary>What the clinical rules have against the decision, told by the names of the request.</summary>
    private static void Check(DecisionRequest request, ProgrammeInHand hand, Prescription prescription, ProgressionSuggestion suggestion, Step? step)
    {
        var chosen = request.Decision == DecisionCode.Stop ? Suggestion.StopAndReview : Codes.Parse<Suggestion>(request.Decision!);
        var decision = new ProgressionDecision(suggestion, chosen, step is null ? [] : [step.Grading], request.By!.Words, hand.Now, request.Reason);
        var issues = decision.Problems().Select(problem => problem.Element switch
        {
            "reason" => Fault("reason", $"reason is missing, and {request.Decision} departs from the suggestion ({suggestion.Suggestion.Code()}: {suggestion.Reason}); say why it is not followed."),
            "chosen" => Fault("decision", $"decision is {request.Decision} while {suggestion.Reason}; clear the flag first (POST /api/flags/{{id}}/clearance), or decide hold, step-back or stop."),
            _ => Fault(problem.Element, problem.Message),
        }).ToList();
        // A step is one step from a level at which somebody has practised.
        if (request.Decision == DecisionCode.Advance && prescription.Planned.Schedule.Start > hand.Record.AsOf)
            issues.Add(Fault("decision", $"decision is advance, and the present level, from {prescription.Planned.Schedule.Start:yyyy-MM-dd}, has no result yet; at least one session at a level comes before the next step."));
        if (issues.Count > 0)
            throw new RefusedException(Refusal.Invalid, issues);

        static Issue Fault(string field, string message) => Issue.Error(OperationOutcome.IssueType.BusinessRule, message, field);
    }
}
