using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>One who signs.</summary>
/// <param name="Words">Name, role and registration as they stand in the document.</param>
/// <param name="Who">As made by <see cref="Signer.ReferenceAsync"/>.</param>
public sealed record SigningParty(string Words, ResourceReference Who);

/// <summary>What a signature left behind; the hash is known once the set is committed.</summary>
public sealed class SignedDocument(Composition note, FrozenDocument document, Provenance provenance)
{
    public Composition Note => note;

    public FrozenDocument Document => document;

    public Provenance Provenance => provenance;

    public string? Sha256 { get; internal set; }
}

/// <summary>
/// Signs: the Composition becomes final, the document is frozen, and a Provenance holds the signature over the SHA-256 of
/// its stored bytes; all in the caller's one write set. What may be signed, and by whom, is decided before.
/// </summary>
public sealed class SignDocument(DocumentBuilder documents, SigningKeys keys, DocumentKinds kinds)
{
    /// <param name="set">Gets a <see cref="WriteSet.Seal"/>.</param>
    /// <param name="note">The Composition as read; becomes final, or amended when it replaces another.</param>
    /// <param name="version">The version it was read at.</param>
    /// <param name="signer">Who signs as registered clinician.</param>
    /// <param name="author">Who signed before, where this is a countersignature.</param>
    /// <param name="reasons">What must be said about the signing, such as why it was signed in spite of newer results.</param>
    /// <param name="sealedWith">Called when the hash is known, just before the commit.</param>
    public async Task<SignedDocument> AddAsync(
        WriteSet set, Composition note, int version, SigningParty signer, SigningParty? author, IReadOnlyList<string> reasons,
        DateTimeOffset now, Action<SignedDocument>? sealedWith = null, CancellationToken ct = default)
    {
        ArgumentNullException.ThrowIfNull(set);
        var kind = kinds.Of(note) ?? throw new ArgumentException("This kind of Composition is not signed here.", nameof(note));
        note.Status = note.IsAmendment() ? CompositionStatus.Amended : CompositionStatus.Final;
        note.DateElement = new FhirDateTime(now);
        note.Attester.Add(new Composition.AttesterComponent
        {
            Mode = Composition.CompositionAttestationMode.Professional,
            TimeElement = new FhirDateTime(now),
            Party = (ResourceReference)signer.Who.DeepCopy(),
        });
        if (author is null)
            note.AddAuthor(signer.Who);
        Presentation.Write(note, kind, reasons);
        set.Update(note, version);
        var document = await FrozenDocument.AddAsync(set, documents, note, kind.DocumentProfile, now, ct);
        var provenance = set.Create(ProvenanceOf(note, version + 1, document, signer, author, reasons, now));
        var signed = new SignedDocument(note, document, provenance);
        Put(provenance, Placeholder, "");
        set.Seal = at =>
        {
            signed.Sha256 = document.Seal(set, at);
            provenance.Recorded = provenance.Signature[0].When = at;
            Put(provenance, signed.Sha256, keys.Sign(Payload(signed, version + 1, signer, author, at)));
            sealedWith?.Invoke(signed);
        };
        return signed;
    }

    /// <summary>What stands there while the set is checked.</summary>
    private static readonly string Placeholder = new('0', 64);

    private static Provenance ProvenanceOf(
        Composition note, int version, FrozenDocument document, SigningParty signer, SigningParty? author, IReadOnlyList<string> reasons, DateTimeOffset now)
    {
        var provenance = new Provenance
        {
            Target = [new ResourceReference($"Composition/{note.Id}/_history/{version}"), new ResourceReference($"Bundle/{document.Id}")],
            Recorded = now,
            Activity = Concepts.Concept(Systems.DocumentCompletion, "LA", "Signed"),
            Reason = [.. reasons.Select(r => new CodeableConcept { Text = r })],
            Agent = [Agent("legal", signer)],
            Signature =
            [
                new Signature
                {
                    // A countersignature vouches for what somebody else wrote.
                    Type = [new Coding(Systems.SignatureType, author is null ? SignatureKind.Author : SignatureKind.Verification)],
                    When = now,
                    Who = (ResourceReference)signer.Who.DeepCopy(),
                    TargetFormat = FrozenDocument.MediaType,
                    SigFormat = "application/jose",
                },
            ],
            Text = Readable.Of([$"{note.Title}: signed by {signer.Words}{(author is null ? "" : $", countersigning {author.Words}")}.", .. reasons]),
        };
        provenance.Profiled(Profiles.DocumentSignature);
        if (author is not null)
            provenance.Agent.Add(Agent("author", author));
        provenance.Agent.Add(new Provenance.AgentComponent
        {
            Type = Concepts.Concept(Systems.ProvenanceParticipant, "assembler"),
            Who = DraftAuthor.Reference(),
        });
        return provenance;
    }

    private static Provenance.AgentComponent Agent(string type, SigningParty party) => new()
    {
        Type = Concepts.Concept(Systems.ProvenanceParticipant, type),
        Who = (ResourceReference)party.Who.DeepCopy(),
    };

    private static void Put(Provenance provenance, string hash, string jws)
    {
        provenance.SetStringExtension(Extensions.DocumentHash, hash);
        provenance.Signature[0].Data = System.Text.Encoding.ASCII.GetBytes(jws.Length == 0 ? "." : jws);
    }

    private static string Payload(SignedDocument signed, int version, SigningParty signer, SigningParty? author, DateTimeOffset at)
    {
        var payload = new JsonObject
        {
            ["sub"] = signed.Document.Identifier,
            ["iat"] = at.ToUnixTimeSeconds(),
            ["document"] = $"Bundle/{signed.Document.Id}",
            ["composition"] = $"Composition/{signed.Note.Id}/_history/{version}",
            ["mediaType"] = FrozenDocument.MediaType,
            ["sha256"] = signed.Sha256,
            ["signer"] = signer.Words,
        };
        if (author is not null)
            payload["countersigned"] = author.Words;
        return payload.ToJsonString(TradeJson.Options);
    }
}

/// <summary>Codes of ASTM E1762 as R4 lists them for Signature.type.</summary>
internal static class SignatureKind
{
    public const string Author = "1.2.840.10065.1.12.1.1";
    public const string Verification = "1.2.840.10065.1.12.1.5";
}
