using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Flags;

/// <summary>A clinician clears a red flag with a reason; the open drafts of the person are redone in the same transaction.</summary>
public sealed class ClearFlag(Recording recording, RecordStore store, ProgressReader reader, UpToDate upToDate, TimeProvider clock)
{
    /// <summary>Sessions may be posted meanwhile, which move the draft that is redone with the clearance.</summary>
    private const int Tries = 20;

    public Task<IResult> RunAsync(string id, Posted<ClearanceRequest> posted, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var (flag, version) = await FlagEndpoints.RedFlagAsync(id, store, cancel);
            if (flag.Status != Flag.FlagStatus.Active)
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                    $"Flag '{id}' is {flag.StatusElement?.JsonValue}, not active; only an active flag can be cleared. Read /api/flags/{id} for who cleared it and why.", "id");
            var (by, reason, now) = (posted.Body.By!, posted.Body.Reason!, clock.GetUtcNow());
            flag.Status = Flag.FlagStatus.Inactive;
            flag.Period ??= new Period();
            flag.Period.EndElement = new FhirDateTime(now);
            flag.Extension.Add(new Extension
            {
                Url = Extensions.FlagCleared,
                Extension =
                [
                    new Extension("by", new FhirString(by.Words)),
                    new Extension("at", new Instant(now)),
                    new Extension("reason", new FhirString(reason)),
                ],
            });
            flag.Text = Readable.Of(
                PlainWords.Sentence($"Red flag, cleared: {flag.Code?.Text}"),
                PlainWords.Sentence($"Cleared by {by.Words}, because: {reason}"));
            set.Update(flag, version);
            // A flag is the person's: every draft that is open says that it is no longer outstanding.
            foreach (var programme in await reader.ProgrammesOfAsync(Rules.Bare(flag.Subject.Reference!, "Patient"), cancel))
                await upToDate.AddToOpenAsync(set, await reader.ReadAsync(programme, cancel), cancel);
            return new Recorded<FlagAnswer>(StatusCodes.Status200OK, "", flag.ToAnswer());
        }, ct, Tries);
}
