using RehabRecords.Fhir.Store;

namespace RehabRecords.RecordExport;

/// <summary>
/// Rebuilds a record from its zip: every version with its id, number, time and bytes, in the order in which they were
/// written. All of it or nothing; what is there already is left as it is, and refused where it differs.
/// </summary>
internal static class ImportRecord
{
    /// <returns>What was wrong with the zip, or what was restored.</returns>
    /// <exception cref="Fhir.RefusedException">Conflict: the store has other content under an id, or somebody else has an identifier.</exception>
    public static async Task<(RecordVerdict Verdict, RestoreResult? Result)> RunAsync(RecordStore store, Stream zip, Action<ExportProgress>? progress, CancellationToken ct)
    {
        using var staging = new VersionStaging(keepBytes: true);
        var verdict = await new VerifyRecord(staging, progress).RunAsync(zip, ct);
        if (!verdict.IsWhole)
            return (verdict, null);
        var total = verdict.Manifest!.Versions;
        return (verdict, await store.RestoreAsync(staging.InOrder(), done => progress?.Invoke(new ExportProgress("the store", done, total)), ct));
    }
}
