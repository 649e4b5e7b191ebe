using System.Collections.Concurrent;
using RehabRecords.Access;
using RehabRecords.Host;

namespace RehabRecords.Pages.Caseload;

/// <summary>The caseload of the caller's organisation, as much of it as the caller may see.</summary>
internal sealed class CaseloadBook(Calling calling, FollowedCaseloads followed, Settings settings, TimeProvider clock)
{
    public DateOnly Today => FollowedCaseload.Today(settings, clock);

    public async Task<IReadOnlyList<CaseloadLine>> ReadAsync(CancellationToken ct)
    {
        var all = await followed.Of(calling.Caller.Organisation).ReadAsync(ct);
        return calling.Caller.People is { } people ? [.. all.Where(line => people.Contains(line.Id))] : all;
    }
}

/// <summary>One for each organisation, kept while the service runs.</summary>
internal sealed class FollowedCaseloads(Stores stores, Settings settings, TimeProvider clock) : IDisposable
{
    private readonly ConcurrentDictionary<string, FollowedCaseload> _all = new(StringComparer.Ordinal);

    public FollowedCaseload Of(string organisation) => _all.GetOrAdd(organisation, key => new FollowedCaseload(stores.Of(key), settings, clock));

    public void Dispose()
    {
        foreach (var one in _all.Values)
            one.Dispose();
    }
}
