using Hl7.Fhir.Model;
using RehabRecords.Decisions;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>Pauses a programme and ends a pause. Days paused are not due, whenever the pause is told.</summary>
public sealed class PauseProgramme(RecordStore store, Recording recording, ProgressReader reader, UpToDate upToDate, TimeProvider clock)
{
    public Task<IResult> BeginAsync(string programme, Posted<PauseRequest> posted, CancellationToken ct) =>
        ChangeAsync(programme, posted.Key, StatusCodes.Status201Created, hand =>
        {
            var (request, outline) = (posted.Body, hand.Record.Programme);
            var (from, to) = (request.From!.Value, request.To);
            if (from < outline.Start || from > outline.End)
                throw Missing.Bad("from", $"from is {from:yyyy-MM-dd}, and the programme runs from {outline.Start:yyyy-MM-dd}{(outline.End is { } last ? $" to {last:yyyy-MM-dd}" : " on")}; give a day of it.");
            if (hand.Record.Pauses.FirstOrDefault(p => (to is null || p.Days.From <= to) && (p.Days.To is null || p.Days.To >= from)) is { } other)
                throw Missing.Bad("from", $"from is {from:yyyy-MM-dd}, and the pause from {other.Days.From:yyyy-MM-dd}{(other.Days.To is { } until ? $" to {until:yyyy-MM-dd}" : ", which is open,")} covers some of these days; end that one, or give days outside it.");
            var pause = new Extension { Url = Extensions.Pause };
            pause.Extension.Add(new Extension(Extensions.PausePart.From, new Date(Timings.Iso(from))));
            if (to is { } end)
                pause.Extension.Add(new Extension(Extensions.PausePart.To, new Date(Timings.Iso(end))));
            pause.Extension.Add(new Extension(Extensions.PausePart.Reason, new FhirString(request.Reason)));
            pause.Extension.Add(new Extension(Extensions.PausePart.By, new FhirString(request.By!.Words)));
            pause.Extension.Add(new Extension(Extensions.PausePart.At, new Instant(hand.Now)));
            hand.Plan.Extension.Add(pause);
            return pause;
        }, ct);

    public Task<IResult> EndAsync(string programme, string from, Posted<PauseEndRequest> posted, CancellationToken ct) =>
        ChangeAsync(programme, posted.Key, StatusCodes.Status200OK, hand =>
        {
            var pause = PauseFrom(hand, from);
            var (first, planned) = (Addresses.Day(from)!.Value, Addresses.Day(pause.GetExtensionValue<Date>(Extensions.PausePart.To)?.Value));
            var to = posted.Body.To ?? hand.Today.AddDays(-1);
            if (planned < hand.Today)
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"The pause from {from} ended on {planned:yyyy-MM-dd} already.", "from");
            if (to < first || to > planned)
                throw Missing.Bad("to", $"to is {to:yyyy-MM-dd}; give the last paused day, from {first:yyyy-MM-dd}{(planned is { } last ? $" to {last:yyyy-MM-dd}" : " on")}.");
            pause.RemoveExtension(Extensions.PausePart.To);
            pause.Extension.Insert(1, new Extension(Extensions.PausePart.To, new Date(Timings.Iso(to))));
            pause.RemoveExtension(Extensions.PausePart.EndedBy);
            pause.RemoveExtension(Extensions.PausePart.EndedAt);
            pause.Extension.Add(new Extension(Extensions.PausePart.EndedBy, new FhirString(posted.Body.By!.Words)));
            pause.Extension.Add(new Extension(Extensions.PausePart.EndedAt, new Instant(hand.Now)));
            return pause;
        }, ct);

    /// <summary>A pause that has not begun has had no effect on any day yet, so it goes; who withdrew it and why is kept beside the programme.</summary>
    public Task<IResult> WithdrawAsync(string programme, string from, Posted<PauseWithdrawalRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var hand = await ProgrammeInHand.OpenAsync(store, reader, programme, clock.GetUtcNow(), cancel);
        var pause = PauseFrom(hand, from);
        var view = PauseView.Of(PauseMapping.Read(pause)!);
        if (Addresses.Day(from) <= hand.Today)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"The pause from {from} has begun, so its days count as paused; end it instead: POST /api/programmes/{programme}/pauses/{from}/end.", "from");
        hand.Plan.Extension.Remove(pause);
        await hand.SaveAsync(set, cancel);
        var (by, reason) = (posted.Body.By!, posted.Body.Reason!);
        var version = set.Writes.First(w => w.Resource == hand.Plan).FromVersion;
        set.Create(new Provenance
        {
            Target = [new ResourceReference($"CarePlan/{programme}/_history/{version + 1}")],
            Recorded = hand.Now,
            Activity = new CodeableConcept { Text = $"Pause from {from} withdrawn" },
            Reason = [new CodeableConcept { Text = reason }],
            Agent = [new Provenance.AgentComponent { Who = await by.ReferenceAsync(store, set, cancel) }],
            Text = Readable.Of($"Pause from {from} withdrawn by {by.Words}, because: {reason}"),
        });
        await upToDate.AddToOpenAsync(set, hand.Record, cancel);
        return new Recorded<PauseView>(StatusCodes.Status200OK, "", view);
    }, ct, Decide.Tries);

    private static Extension PauseFrom(ProgrammeInHand hand, string from) =>
        hand.Plan.GetExtensions(Extensions.Pause).FirstOrDefault(p => p.GetExtensionValue<Date>(Extensions.PausePart.From)?.Value == from)
        ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound,
            $"The programme has no pause from '{Rules.Shown(from)}'; its pauses begin on: {(hand.Record.Pauses.Count == 0 ? "none" : string.Join(", ", hand.Record.Pauses.Select(p => $"{p.Days.From:yyyy-MM-dd}")))}.", "from");

    private Task<IResult> ChangeAsync(string programme, IdempotencyKey? key, int status, Func<ProgrammeInHand, Extension> change, CancellationToken ct) =>
        recording.OnceAsync(key, async (set, cancel) =>
        {
            var hand = await ProgrammeInHand.OpenAsync(store, reader, programme, clock.GetUtcNow(), cancel);
            var pause = change(hand);
            await hand.SaveAsync(set, cancel);
            await upToDate.AddToOpenAsync(set, hand.Record, cancel);
            return new Recorded<PauseView>(status, status == StatusCodes.Status201Created ? $"/api/programmes/{programme}" : "", PauseView.Of(PauseMapping.Read(pause)!));
        }, ct, Decide.Tries);
}
