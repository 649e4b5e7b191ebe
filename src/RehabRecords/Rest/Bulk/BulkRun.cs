using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest.Bulk;

/// <summary>Writes the files of one export: rows of one moment, straight from the store into a file for each type.</summary>
internal static class BulkRun
{
    private const int ReportEvery = 1000;

    public static BulkResult Write(BulkJob job, RecordSnapshot snapshot, TimeProvider clock, CancellationToken ct)
    {
        var scope = new SnapshotScope(job.Request.OfPeople, job.Request.Since);
        var counts = job.Request.Types.Select(type => (Type: type, Count: snapshot.Count(type, scope))).Where(c => c.Count > 0).ToList();
        var total = counts.Sum(c => c.Count);
        long done = 0;
        var output = new List<BulkFile>();
        foreach (var (type, count) in counts)
        {
            var file = new BulkFile(type, $"{type}.ndjson", count);
            using (var to = New(job, file.File))
                foreach (var version in snapshot.Current(type, scope))
                {
                    Line(to, version.Json.Span);
                    if (++done % ReportEvery != 0)
                        continue;
                    ct.ThrowIfCancellationRequested();
                    job.Progress = $"{type}: {done} of {total} resources, {100 * done / total} %";
                }

            output.Add(file);
        }

        return new BulkResult(snapshot.At, clock.GetUtcNow(), output, job.Request.Since is null ? [] : Deleted(job, snapshot, scope, ct));
    }

    /// <summary>Whoever asks for what changed has earlier files, from which these are to be taken.</summary>
    private static BulkFile[] Deleted(BulkJob job, RecordSnapshot snapshot, SnapshotScope scope, CancellationToken ct)
    {
        const string Name = "deleted.ndjson";
        long count = 0;
        using (var to = New(job, Name))
            foreach (var version in job.Request.Types.SelectMany(type => snapshot.Deleted(type, scope)))
            {
                ct.ThrowIfCancellationRequested();
                Line(to, ResourceWriter.Json(new Bundle
                {
                    Type = Bundle.BundleType.Transaction,
                    Entry = [new Bundle.EntryComponent { Request = new Bundle.RequestComponent { Method = Bundle.HTTPVerb.DELETE, Url = version.Address } }],
                }));
                count++;
            }

        return count == 0 ? [] : [new BulkFile("Bundle", Name, count)];
    }

    private static FileStream New(BulkJob job, string name) => new(Path.Combine(job.Folder, name), FileMode.Create, FileAccess.Write, FileShare.Read, 256 * 1024);

    private static void Line(FileStream to, ReadOnlySpan<byte> bytes)
    {
        to.Write(bytes);
        to.WriteByte((byte)'\n');
    }
}
