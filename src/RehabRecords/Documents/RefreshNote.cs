using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Documents;

/// <summary>Puts a fresh draft under what clinicians did to the old one.</summary>
public sealed class RefreshNote(RecordStore store, DocumentKinds kinds, TimeProvider clock)
{
    public async Task<Composition> RunAsync(WriteSet set, string note, string? ifMatch, RefreshRequest request, CancellationToken ct)
    {
        var hand = await NoteInHand.OpenAsync(store, kinds, note, ifMatch, clock.GetUtcNow(), ct);
        hand.RefuseUnlessDraft();
        if (await Reviews.FreshAsync(hand.Note, hand.Kind, ct) is not { } fresh)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule,
                hand.Note.IsAmendment()
                    ? "This is an amendment: it speaks of the time of the note that it amends, and newer results belong into the next note."
                    : $"Drafts of a {hand.Kind.Name} are not made anew.", "id");
        FreshDraft.Merge(hand.Note, fresh, hand.Kind);
        hand.Save(set, await request.By!.ReferenceAsync("by", store, set, ct));
        return hand.Note;
    }
}
