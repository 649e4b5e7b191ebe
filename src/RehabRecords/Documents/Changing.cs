using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>What is answered to a signature.</summary>
/// <param name="Note">The note as it stands.</param>
/// <param name="Document">Address of the frozen document; null while a countersignature is waited for.</param>
/// <param name="Identifier">Of the document.</param>
/// <param name="Sha256">Over its stored bytes.</param>
/// <param name="RedFlags">Open red flags of the person at that moment.</param>
public sealed record SignatureAnswer(NoteView Note, string? Document, string? Identifier, string? Sha256, IReadOnlyList<OpenFlag> RedFlags);

/// <summary>Runs a command on a note for a route: once per idempotency key, with the version as ETag, also when it is refused.</summary>
public sealed class Changing(Recording recording, RecordStore store, DocumentKinds kinds)
{
    /// <summary>Two requests that name a new clinician at once both make the Practitioner; the later one finds it. A note that moved is refused.</summary>
    private const int Tries = 5;

    public Task<IResult> RunAsync(
        HttpContext http, string id, IdempotencyKey? key, Func<WriteSet, string?, CancellationToken, Task<Composition>> command, CancellationToken ct, int status = StatusCodes.Status200OK) =>
        LabelledAsync(http, id, () => recording.OnceAsync(key, async (set, cancel) =>
        {
            var note = await command(set, http.Request.Headers.IfMatch.ToString(), cancel);
            return new Recorded<NoteView>(status, status == StatusCodes.Status201Created ? $"/api/notes/{note.Id}" : "", View(http, set, note));
        }, ct, Tries), ct);

    public Task<IResult> SignAsync(
        HttpContext http, string id, Posted<SignatureRequest> posted,
        Func<WriteSet, string, string?, SignatureRequest, Action<SigningOutcome>?, CancellationToken, Task<SigningOutcome>> command, CancellationToken ct) =>
        LabelledAsync(http, id, () => recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            // The hash is known when the bytes are made, which is after the answer was prepared.
            var outcome = await command(set, id, http.Request.Headers.IfMatch.ToString(), posted.Body, done =>
                set.Answer = new StoredAnswer(StatusCodes.Status200OK, "", JsonSerializer.SerializeToUtf8Bytes(Answer(http, set, done), TradeJson.Options)), cancel);
            return new Recorded<SignatureAnswer>(StatusCodes.Status200OK, "", Answer(http, set, outcome));
        }, ct, Tries), ct);

    private SignatureAnswer Answer(HttpContext http, WriteSet set, SigningOutcome outcome) => new(
        View(http, set, outcome.Note), outcome.Signed is { } signed ? $"Bundle/{signed.Document.Id}" : null, outcome.Signed?.Document.Identifier, outcome.Signed?.Sha256, outcome.RedFlags);

    /// <summary>The note with the version the store will give it.</summary>
    private NoteView View(HttpContext http, WriteSet set, Composition note)
    {
        var version = set.Writes.First(w => w.Resource == note).FromVersion + 1;
        (note.Meta ??= new Meta()).VersionId = version.ToString(System.Globalization.CultureInfo.InvariantCulture);
        http.Response.Headers.ETag = VersionTag.Of(version);
        return NoteView.Of(note, kinds.Of(note)!);
    }

    private async Task<IResult> LabelledAsync(HttpContext http, string id, Func<Task<IResult>> run, CancellationToken ct)
    {
        try
        {
            return await run();
        }
        catch (RefusedException refused) when (refused.Refusal is Refusal.StaleVersion or Refusal.VersionNotNamed)
        {
            if (await store.ReadAsync("Composition", id, ct) is { } current)
                http.Response.Headers.ETag = VersionTag.Of(current.Version);
            throw;
        }
    }
}
