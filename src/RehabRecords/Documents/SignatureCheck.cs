using System.Text;
using Hl7.Fhir.Model;
using Microsoft.IdentityModel.JsonWebTokens;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;

namespace RehabRecords.Documents;

/// <summary>What was found when a signature was checked.</summary>
/// <param name="Genuine">The bytes are the ones that were signed, and the signature is ours.</param>
/// <param name="Problems">What does not fit, a sentence each; empty when genuine.</param>
public sealed record SignatureVerdict(bool Genuine, IReadOnlyList<string> Problems);

/// <summary>A signature and everything that can be said about it.</summary>
/// <param name="Provenance">Address of the resource that holds it.</param>
/// <param name="Document">Address of the frozen document; its bytes as served are the bytes that were signed.</param>
/// <param name="Identifier">Of the document.</param>
/// <param name="Sha256">Over the stored bytes of the document.</param>
/// <param name="Jws">Compact form; the keys are at /api/signing-keys.</param>
public sealed record SignatureView(
    string Provenance, string Document, string? Identifier, string Composition, IReadOnlyList<string> By, DateTimeOffset? At, IReadOnlyList<string> Said,
    string? Sha256, string Jws, SignatureVerdict Verdict);

/// <summary>Finds the signature of a note and checks it against the bytes in the store, or against bytes from elsewhere.</summary>
public sealed class SignatureCheck(RecordStore store, SigningKeys keys)
{
    /// <summary>The signature under the last signed version; null when nobody signed.</summary>
    public async Task<Provenance?> OfAsync(string compositionId, CancellationToken ct = default) =>
        (await store.FindAllAsync<Provenance>($"target=Composition/{compositionId}", ct)).LastOrDefault(p => p.Signature.Count > 0);

    /// <summary>The stored bytes of the document that a signature is about.</summary>
    public Task<RecordVersion?> DocumentAsync(Provenance signature, CancellationToken ct = default) =>
        store.ReadVersionAsync("Bundle", DocumentId(signature), 1, ct);

    /// <param name="copy">Bytes to check instead of those in the store.</param>
    public async Task<SignatureView> CheckAsync(Provenance provenance, ReadOnlyMemory<byte>? copy = null, CancellationToken ct = default)
    {
        var jws = Encoding.ASCII.GetString(provenance.Signature[0].Data ?? []);
        var token = await keys.OpenAsync(jws);
        var document = await DocumentAsync(provenance, ct);
        var problems = new List<string>();
        if (token is null)
            problems.Add("The signature was not made with a key of this service, or it was changed.");
        if (document is null)
            problems.Add("The document is not in the record.");
        var bytes = copy ?? document?.Json ?? default;
        var hash = FrozenDocument.HashOf(bytes.Span);
        var signed = Claim(token, "sha256") ?? provenance.GetStringExtension(Extensions.DocumentHash);
        if (hash != signed)
            problems.Add($"The {(copy is null ? "stored document" : "document")} has the SHA-256 {hash}, and {signed} was signed: it is not the document that was signed.");
        Same(provenance.GetStringExtension(Extensions.DocumentHash), "sha256", "the SHA-256 beside the signature");
        Same($"Bundle/{DocumentId(provenance)}", "document", "the document named beside the signature");
        Same(CompositionOf(provenance), "composition", "the Composition named beside the signature");
        if (document is not null && copy is null)
            await CompareAsync(provenance, document, token, problems, ct);
        return new SignatureView(
            $"Provenance/{provenance.Id}", $"Bundle/{DocumentId(provenance)}", Claim(token, "sub"), CompositionOf(provenance),
            [.. provenance.Agent.Where(a => a.Type.CodeIn(Systems.ProvenanceParticipant) is "legal" or "author").Select(a => a.Who.Display!)],
            provenance.Recorded, [.. provenance.Reason.Select(r => r.Text!)], signed, jws, new SignatureVerdict(problems.Count == 0, problems));

        void Same(string? beside, string claim, string what)
        {
            if (token is not null && Claim(token, claim) != beside)
                problems.Add($"What was signed says {Claim(token, claim)}, and {what} is {beside}.");
        }
    }

    /// <summary>The Composition that the record serves must be the one inside the document.</summary>
    private async Task CompareAsync(Provenance provenance, RecordVersion document, JsonWebToken? token, List<string> problems, CancellationToken ct)
    {
        if (ResourceReader.Trusted<Resource>(document.Json) is not Bundle { Entry: [{ Resource: Composition inside }, ..] } bundle)
        {
            problems.Add("The stored document is no document Bundle.");
            return;
        }

        if (token is not null && bundle.Identifier?.Value != Claim(token, "sub"))
            problems.Add($"The document's identifier is {bundle.Identifier?.Value}, and {Claim(token, "sub")} was signed.");
        var parts = CompositionOf(provenance).Split('/');
        var stored = parts is [_, var id, _, var version] && int.TryParse(version, out var number) ? await store.ReadVersionAsync("Composition", id, number, ct) : null;
        if (stored is null || !stored.Json.Span.SequenceEqual(ResourceWriter.Json(inside)))
            problems.Add($"{CompositionOf(provenance)} in the record is not the Composition inside the document.");
        var history = await store.HistoryAsync("Bundle", document.Id, ct);
        if (history.Count != 1)
            problems.Add($"The document has {history.Count} versions; a document has one.");
    }

    private static string? Claim(JsonWebToken? token, string name) => token is not null && token.TryGetPayloadValue<string>(name, out var value) ? value : null;

    internal static string CompositionOf(Provenance provenance) => Target(provenance, "Composition/");

    private static string DocumentId(Provenance provenance) => Target(provenance, "Bundle/")["Bundle/".Length..];

    private static string Target(Provenance provenance, string type) => provenance.Target.Select(t => t.Reference).OfType<string>().First(r => r.StartsWith(type, StringComparison.Ordinal));
}
