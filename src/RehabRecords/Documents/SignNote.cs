using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>A signature, or a countersignature.</summary>
public sealed record SignatureRequest
{
    [Required, Description("Who signs.")]
    public Signer? By { get; init; }

    [Description("Why it is signed although the record has moved on since it was drafted, in at least 10 characters. It stands in what is signed.")]
    public string? AlthoughStale { get; init; }

    [Description("Why it is signed although statements need a look, in at least 10 characters. It stands in what is signed.")]
    public string? AlthoughUnresolved { get; init; }
}

internal sealed class SignatureRules : AbstractValidator<SignatureRequest>
{
    public SignatureRules()
    {
        RuleFor(r => r.By).Staff("who signs, with name, role, registration body and number");
        RuleFor(r => r.AlthoughStale).Reasoned();
        RuleFor(r => r.AlthoughUnresolved).Reasoned();
    }
}

/// <summary>What a signature came to.</summary>
/// <param name="Note">The note as it stands.</param>
/// <param name="RedFlags">Open at that moment; said in what was signed.</param>
public sealed record SigningOutcome(Composition Note, DocumentKind Kind, SignedDocument? Signed, IReadOnlyList<OpenFlag> RedFlags);

/// <summary>
/// Decides whether a note may be signed and by whom. A registered clinician's signature makes it final and freezes it; that
/// of a student or support worker makes it wait for a countersignature.
/// </summary>
public sealed class SignNote(RecordStore store, DocumentKinds kinds, Reviews reviews, SignDocument sign, TimeProvider clock)
{
    /// <param name="sealedWith">Called when the hash of the frozen document is known, just before the commit.</param>
    public async Task<SigningOutcome> SignAsync(WriteSet set, string note, string? ifMatch, SignatureRequest request, Action<SigningOutcome>? sealedWith, CancellationToken ct)
    {
        var hand = await NoteInHand.OpenAsync(store, kinds, note, ifMatch, clock.GetUtcNow(), ct);
        hand.RefuseUnlessDraft();
        if (hand.WaitsForCountersignature)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule,
                $"The note was signed by {Waiting(hand).Display} and waits for a countersignature: POST /api/notes/{note}/countersignature. An edit withdraws that signature.", "id");
        var said = await SaidAsync(hand, request, ct);
        var who = await request.By!.ReferenceAsync("by", store, set, ct);
        if (!request.By.NeedsCountersignature)
            return await FinalAsync(set, hand, request.By, who, null, said, sealedWith, ct);

        hand.Save(set, who);
        hand.Note.Attester.Add(new Composition.AttesterComponent
        {
            Mode = Composition.CompositionAttestationMode.Personal,
            TimeElement = new FhirDateTime(hand.Now),
            Party = (ResourceReference)who.DeepCopy(),
        });
        Presentation.Write(hand.Note, hand.Kind, said.Reasons);
        return new SigningOutcome(hand.Note, hand.Kind, null, said.Flags);
    }

    /// <exception cref="RefusedException">Conflict when nobody has signed before; Invalid when the same person would sign twice, or one who may not countersign.</exception>
    public async Task<SigningOutcome> CountersignAsync(WriteSet set, string note, string? ifMatch, SignatureRequest request, Action<SigningOutcome>? sealedWith, CancellationToken ct)
    {
        var hand = await NoteInHand.OpenAsync(store, kinds, note, ifMatch, clock.GetUtcNow(), ct);
        hand.RefuseUnlessDraft();
        if (!hand.WaitsForCountersignature)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule,
                $"Nobody has signed this version of the note, so there is nothing to countersign; sign it: POST /api/notes/{note}/signature.", "id");
        if (request.By!.NeedsCountersignature)
            throw Missing.Bad("by", $"by is '{Rules.Shown(request.By.Words)}'; a registered clinician countersigns, with registration body and number, and not a student or support worker.");
        var who = await request.By.ReferenceAsync("by", store, set, ct);
        var author = Waiting(hand);
        if (author.Reference is not null && author.Reference == who.Reference || author.Display?.StartsWith(request.By.Name!.Trim() + ",", StringComparison.OrdinalIgnoreCase) == true)
            throw Missing.Bad("by.name", $"by.name is '{Rules.Shown(request.By.Name!)}', who signed the note already; somebody else countersigns.");
        return await FinalAsync(set, hand, request.By, who, new SigningParty(author.Display!, author), await SaidAsync(hand, request, ct), sealedWith, ct);
    }

    private async Task<SigningOutcome> FinalAsync(
        WriteSet set, NoteInHand hand, Signer by, ResourceReference who, SigningParty? author, Said said, Action<SigningOutcome>? sealedWith, CancellationToken ct)
    {
        foreach (var part in hand.Note.Section)
            Parts.Settle(part);
        SigningOutcome? outcome = null;
        var signed = await sign.AddAsync(set, hand.Note, hand.Version, new SigningParty(by.Words, who), author, said.Reasons, hand.Now, _ => sealedWith?.Invoke(outcome!), ct);
        return outcome = new SigningOutcome(hand.Note, hand.Kind, signed, said.Flags);
    }

    private sealed record Said(IReadOnlyList<string> Reasons, IReadOnlyList<OpenFlag> Flags);

    /// <summary>What stands in the document about its signing; refuses where that needs a reason and none is given.</summary>
    private async Task<Said> SaidAsync(NoteInHand hand, SignatureRequest request, CancellationToken ct)
    {
        var review = await reviews.OfAsync(hand.Note, hand.Kind, ct);
        var said = new List<string>();
        if (review.Stale && request.AlthoughStale is null)
            throw new RefusedException(Refusal.Conflict,
            [
                Issue.Error(OperationOutcome.IssueType.BusinessRule,
                    $"The record has moved on since this was drafted: {Wording.Count(review.Changes.Count, "statement")} would differ now. Refresh the draft (POST /api/notes/{hand.Note.Id}/refresh), or say in althoughStale why it is signed as it stands.", "althoughStale"),
                .. review.Changes.Take(20).Select(c => Issue.Error(OperationOutcome.IssueType.BusinessRule, $"{c.Change}: “{Rules.Shown(c.Now ?? c.Before ?? "")}”", c.Id)),
            ]);
        if (review.Stale)
            said.Add($"Signed although {Wording.Count(review.Changes.Count, "statement")} would have differed by newer results, because: {Wording.Sentence(request.AlthoughStale!)}");
        if (review.NeedsALook.Count > 0 && request.AlthoughUnresolved is null)
            throw new RefusedException(Refusal.Conflict,
            [
                Issue.Error(OperationOutcome.IssueType.BusinessRule,
                    $"{Wording.Count(review.NeedsALook.Count, "statement needs", "statements need")} a look, since what was drafted has changed. Accept, edit or remove each, or say in althoughUnresolved why it is signed as it stands.", "althoughUnresolved"),
                .. hand.Statements.Where(s => s.NeedsALook is not null).Take(20).Select(s => Issue.Error(OperationOutcome.IssueType.BusinessRule, s.NeedsALook!, s.Id)),
            ]);
        if (review.NeedsALook.Count > 0)
            said.Add($"Signed although {Wording.Count(review.NeedsALook.Count, "statement needed", "statements needed")} a look, because: {Wording.Sentence(request.AlthoughUnresolved!)}");
        said.Add(review.RedFlags.Count == 0
            ? "No red flag was open at signing."
            : $"Red flags open at signing: {string.Join("; ", review.RedFlags.Select(f => f.Title ?? f.Code))}.");
        return new Said(said, review.RedFlags);
    }

    private static ResourceReference Waiting(NoteInHand hand) => hand.Note.Attester[0].Party!;
}
