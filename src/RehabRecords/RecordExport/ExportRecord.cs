using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.RecordExport;

/// <summary>How far an export has come.</summary>
internal readonly record struct ExportProgress(string File, long Written, long Versions);

/// <summary>
/// The whole record of one person as a zip, all of it as it was at one moment. Rows go from the store into the zip and on to
/// whoever reads it; nothing is gathered in memory or in a file.
/// </summary>
internal sealed class ExportRecord(RecordStore store, Settings settings)
{
    private const int ReportEvery = 500;

    /// <summary>Begins an export; nothing is written yet, so that a refusal can still be answered as one.</summary>
    /// <exception cref="RefusedException">NotFound, or Unavailable when too many exports are being made.</exception>
    public async Task<PersonExport> BeginAsync(string person, CancellationToken ct)
    {
        var snapshot = await store.SnapshotAsync(ct);
        try
        {
            var record = snapshot.OfPerson(person)
                ?? throw (await store.ErasedAtAsync("Patient", person, ct) is { } erased ? Tombstone.Gone($"The record of '{person}'", erased) : new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no person '{person}'. Use the id that POST /api/people answered.", "id"));
            return new PersonExport(snapshot, record, new Uri(settings.PublicUrl));
        }
        catch
        {
            snapshot.Dispose();
            throw;
        }
    }

    internal sealed class PersonExport(RecordSnapshot snapshot, PersonRecord record, Uri source) : IDisposable
    {
        private readonly List<string> _remarks = [];
        private long _written;
        private long _versions = record.Versions;

        public DateTimeOffset At => snapshot.At;

        /// <summary>Versions about the person; what they refer to is found while they are written.</summary>
        public long Versions => _versions;

        public Action<ExportProgress>? Progress { get; set; }

        public void Dispose() => snapshot.Dispose();

        /// <summary>Writes the zip. Gives the SHA-256 of its manifest, by which all of it can be known again.</summary>
        public async Task<string> WriteAsync(Stream to, CancellationToken ct)
        {
            var zip = await ZipSink.OpenAsync(to, At, ct);
            await zip.AddAsync(RecordZip.Readme, RecordReadme.Of(record.PatientId, At, source), ct);
            await ResourcesAsync(zip, referred: false, ct);
            record.GatherReferred();
            _versions = record.Versions;
            await ResourcesAsync(zip, referred: true, ct);
            var deletions = await DeletionsAsync(zip, ct);
            await zip.AddAsync(RecordZip.Order, async file =>
            {
                file.Lines = 0;
                foreach (var address in record.Order())
                {
                    await file.WriteLineAsync(Encoding.ASCII.GetBytes(address), ct);
                    file.Lines++;
                }
            }, ct);
            await DocumentsAsync(zip, ct);
            foreach (var address in record.NoLongerOwn())
                _remarks.Add($"{address} is about another person from that version on; it is told as a deletion here.");
            var manifest = new RecordManifest(
                RecordZip.Format, RecordZip.FormatVersion, "4.0.1", record.PatientId, At, source.AbsoluteUri.TrimEnd('/') + "/fhir",
                _versions, deletions.Lines ?? 0, [.. zip.Files], [.. record.Outside()], _remarks).Write();
            await zip.AddAsync(RecordZip.Manifest, manifest, ct);
            var digest = Convert.ToHexStringLower(SHA256.HashData(manifest));
            await zip.AddAsync(RecordZip.Seal, Encoding.ASCII.GetBytes($"{digest}  {RecordZip.Manifest}\n"), ct);
            // Not in a finally: without this a broken-off zip has no list of contents and cannot be opened.
            await zip.DisposeAsync();
            return digest;
        }

        private async Task ResourcesAsync(ZipSink zip, bool referred, CancellationToken ct)
        {
            foreach (var type in record.Types(referred))
            {
                var path = RecordZip.PathOf(type.Type, referred);
                await zip.AddAsync(path, async file =>
                {
                    foreach (var version in record.Of(type.Type, referred))
                    {
                        if (!referred)
                            record.Follow(version);
                        await file.WriteLineAsync(version.Json, ct);
                        Step(path);
                    }

                    file.Lines = type.Versions;
                    file.Resources = type.Resources;
                }, ct);
            }
        }

        /// <summary>A deletion has no content; it is told as FHIR tells it, by an entry of a history.</summary>
        private Task<RecordFile> DeletionsAsync(ZipSink zip, CancellationToken ct) => zip.AddAsync(RecordZip.Deletions, async file =>
        {
            file.Lines = 0;
            foreach (var version in record.Deletions())
            {
                await file.WriteLineAsync(ResourceWriter.Json(DeletionLine.Of(version)), ct);
                file.Lines++;
                Step(RecordZip.Deletions);
            }
        }, ct);

        private async Task DocumentsAsync(ZipSink zip, CancellationToken ct)
        {
            var frozen = new HashSet<string>(StringComparer.Ordinal);
            foreach (var bundle in record.CurrentOf("Bundle"))
            {
                if (Documents.CompositionOf(bundle.Json) is not { } composition)
                    continue;
                frozen.Add($"{composition.Id}/{composition.Meta?.VersionId}");
                await zip.AddAsync(Documents.PathOf(bundle, ".json"), bundle.Json, ct);
                await zip.AddAsync(Documents.PathOf(bundle, ".html"), DocumentPage.Of(composition), ct);
            }

            foreach (var note in record.CurrentOf("Composition"))
            {
                if (frozen.Contains($"{note.Id}/{note.Version}"))
                    continue;
                await zip.AddAsync(Documents.PathOf(note, ".html"), DocumentPage.Of(ResourceReader.Trusted<Composition>(note.Json)), ct);
                if (WrittenDocument.Gap(record, note) is { } gap)
                    _remarks.Add($"No document was assembled of {note.VersionedAddress}, which is here as a page and as a resource: {gap}");
                else
                    await zip.AddAsync(Documents.PathOf(note, ".json"), file => WrittenDocument.WriteAsync(record, note, source, file, ct), ct);
                Progress?.Invoke(new ExportProgress(Documents.PathOf(note, ".json"), _written, _versions));
            }
        }

        private void Step(string file)
        {
            if (++_written % ReportEvery == 0 || _written == _versions)
                Progress?.Invoke(new ExportProgress(file, _written, _versions));
        }
    }
}
