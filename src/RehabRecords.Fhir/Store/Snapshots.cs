using System.Data.Common;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>
/// Opens views of the record for long reads, on connections of their own: a download that takes an hour must not take a
/// place from those who read one resource. While one is open the engine keeps all that it can see, so they are few.
/// </summary>
/// <remarks>
/// A write gets its time before its turn comes, perhaps by the clock of another machine. A view that names a time must hold every
/// write of an earlier time, or the next copy, which asks for what came after, would miss it. So the view is opened in a writer's
/// turn, while nobody can commit, and its time is kept as the horizon: what is committed afterwards under that time or an earlier
/// one is given a later one.
/// </remarks>
internal sealed class Snapshots(Dialect dialect, TimeProvider clock, SearchParameters parameters) : IDisposable
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
            session = new Session(dialect.OpenScratch(), dialect);
            using var writer = new Session(dialect.OpenWriter(), dialect);
            var facts = dialect.BeginWrite(writer);
            var at = facts.MoveHorizon(writer, Millisecond.Of(clock.GetUtcNow()));
            session.Run(dialect.BeginScratch);
            // A transaction sees the record as it is when first read in it.
            session.One("SELECT count(*) FROM fact");
            writer.Run("COMMIT");
            return new RecordSnapshot(session, dialect, parameters, at, () => _places.Release());
        }
        catch (Exception e)
        {
            session?.Dispose();
            _places.Release();
            if (e is DbException db && dialect.EndsTransaction(db))
                throw new RefusedException(Refusal.Unavailable, OperationOutcome.IssueType.Transient, "The record cannot be copied at present; please try again in a minute.");
            throw;
        }
    }

    public void Dispose() => _places.Dispose();
}
