using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using System.Text.RegularExpressions;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>Why what was signed is replaced or withdrawn, and by whom.</summary>
public sealed record AmendmentRequest
{
    [Required, Description("Who begins the amendment, or withdraws the note.")]
    public Signer? By { get; init; }

    [Required, Description("Why, in at least 10 characters; it stands in the document.")]
    public string? Reason { get; init; }
}

internal sealed class AmendmentRules : AbstractValidator<AmendmentRequest>
{
    public AmendmentRules()
    {
        RuleFor(r => r.By).Staff("who does it, with name and role");
        RuleFor(r => r.Reason).Needed("the reason");
        RuleFor(r => r.Reason).Reasoned();
    }
}

/// <summary>
/// Amends and withdraws what was signed; nothing is erased. An amendment is a new Composition that replaces the signed one
/// once it is signed itself; until then, and afterwards too, the signed one can be read as it was signed.
/// </summary>
public sealed partial class AmendNote(RecordStore store, DocumentKinds kinds, SignatureCheck signatures, TimeProvider clock)
{
    /// <returns>The draft of the amendment, a note of its own with the statements of the signed one.</returns>
    public async Task<Composition> BeginAsync(WriteSet set, string note, string? ifMatch, AmendmentRequest request, CancellationToken ct)
    {
        var hand = await NoteInHand.OpenAsync(store, kinds, note, ifMatch, clock.GetUtcNow(), ct);
        var signed = hand.Note;
        if (signed.Status is not (CompositionStatus.Final or CompositionStatus.Amended))
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule,
                signed.IsDraft() ? "The note is a draft; change it as it is, there is nothing signed to amend." : "The note was marked as entered in error; it is not amended any more.", "id");
        var next = Next(signed.Identifier!);
        if (await store.HolderOfAsync("Composition", next.System!, next.Value!, ct) is { } later)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule,
                $"This version has an amendment already: /api/notes/{later}. Go on with that one, or amend it once it is signed.", "id");
        var signature = await signatures.OfAsync(note, ct)
            ?? throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule, "The note holds no signature of this service, so it is not amended here.", "id");
        var document = await signatures.DocumentAsync(signature, ct) ?? throw new FormatException($"Provenance/{signature.Id} names a document that is not there.");
        var who = await request.By!.ReferenceAsync("by", store, set, ct);

        var amendment = (Composition)signed.DeepCopy();
        (amendment.Id, amendment.Meta) = (null, null);
        amendment.Profiled(hand.Kind.Profile);
        amendment.Identifier = next;
        amendment.Status = CompositionStatus.Preliminary;
        amendment.Attester.Clear();
        // By identifier: a reference would draw the replaced note into the document of the new one.
        amendment.RelatesTo =
        [
            Replaces((Identifier)signed.Identifier!.DeepCopy()),
            Replaces(Fhir.Parsing.ResourceReader.Trusted<Bundle>(document.Json).Identifier!),
        ];
        amendment.SetStringExtension(Extensions.AmendmentReason, request.Reason!.Trim());
        amendment.AddAuthor(who);
        amendment.DateElement = new FhirDateTime(hand.Now);
        Presentation.Write(amendment, hand.Kind);
        return set.Create(amendment);
    }

    /// <summary>A note of the wrong person, or one that should never have been: it stays readable, marked, with its reason.</summary>
    public async Task<Composition> WithdrawAsync(WriteSet set, string note, string? ifMatch, AmendmentRequest request, CancellationToken ct)
    {
        var hand = await NoteInHand.OpenAsync(store, kinds, note, ifMatch, clock.GetUtcNow(), ct);
        if (hand.Note.Status == CompositionStatus.EnteredInError)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule, "The note is marked as entered in error already.", "id");
        if (request.By!.NeedsCountersignature)
            throw Missing.Bad("by", $"by is '{Rules.Shown(request.By.Words)}'; a registered clinician withdraws a note, with registration body and number.");
        var who = await request.By.ReferenceAsync("by", store, set, ct);
        var reason = $"Entered in error, by {request.By.Words}, because: {Wording.Sentence(request.Reason!)}";
        hand.Note.Status = CompositionStatus.EnteredInError;
        hand.Note.SetStringExtension(Extensions.AmendmentReason, request.Reason!.Trim());
        Presentation.Write(hand.Note, hand.Kind, reason);
        set.Update(hand.Note, hand.Version);
        set.Create(new Provenance
        {
            Target = [new ResourceReference($"Composition/{hand.Note.Id}/_history/{hand.Version + 1}")],
            Recorded = hand.Now,
            Activity = Concepts.Concept("http://terminology.hl7.org/CodeSystem/v3-DataOperation", "NULLIFY", "Marked as entered in error"),
            Reason = [new CodeableConcept { Text = request.Reason!.Trim() }],
            Agent = [new Provenance.AgentComponent { Type = Concepts.Concept(Systems.ProvenanceParticipant, "author"), Who = who }],
            Entity = [new Provenance.EntityComponent { Role = Provenance.ProvenanceEntityRole.Removal, What = new ResourceReference($"Composition/{hand.Note.Id}/_history/{hand.Version}") }],
            Text = Readable.Of(reason),
        });
        return hand.Note;
    }

    /// <summary>The identifier of the amendment of a version: of "p/1" it is "p/1/v2", of that "p/1/v3".</summary>
    internal static Identifier Next(Identifier of)
    {
        var match = Version().Match(of.Value!);
        return match.Success
            ? new Identifier(of.System, $"{of.Value![..match.Index]}/v{int.Parse(match.Groups[1].Value) + 1}")
            : new Identifier(of.System, $"{of.Value}/v2");
    }

    /// <summary>The identifier of what an amendment replaces; null for a first version.</summary>
    internal static Identifier? Before(Composition note) =>
        note.RelatesTo.Where(r => r.Code == DocumentRelationshipType.Replaces).Select(r => r.Target).OfType<Identifier>().FirstOrDefault(i => i.System == note.Identifier?.System);

    private static Composition.RelatesToComponent Replaces(Identifier what) => new() { Code = DocumentRelationshipType.Replaces, Target = what };

    [GeneratedRegex("/v([0-9]{1,6})$")]
    private static partial Regex Version();
}
