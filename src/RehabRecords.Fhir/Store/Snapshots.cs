using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// Opens views of the record for long reads, on connections of their own: a download that takes an hour must not take a
/// place from those who read one resource. While one is open the engine keeps all that it can see, so they are few.
/// </summary>
internal sealed class Snapshots(Dialect dialect, WriteGate gate, SearchParameters parameters) : IDisposable
{
    private const int AtOnce = 4;
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(10);

    private readonly SemaphoreSlim _places = new(AtOnce, AtOnce);

    public async Task<RecordSnapshot> TakeAsync(CancellationToken ct)
    {
        if (!await _places.WaitAsync(Patience, ct))
            throw new RefusedException(Refusal.Unavailable, OperationOutcome.IssueType.Throttled, $"{AtOnce} exports are being made at present, and no more can be at once; please try again later.");
        Session? session = null;
        try
        {
            session = new Session(dialect.OpenScratch());
            var (_, at) = await gate.QuietAsync(
                () =>
                {
                    session.Run("BEGIN");
                    // A transaction sees the record as it is when first read in it.
                    return session.One("SELECT count(*) FROM fact");
                },
                ct);
            return new RecordSnapshot(session, parameters, at, () => _places.Release());
        }
        catch
        {
            session?.Dispose();
            _places.Release();
            throw;
        }
    }

    public void Dispose() => _places.Dispose();
}
