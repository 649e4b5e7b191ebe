using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// The way by which anything enters the record: every resource of the set is valid, every reference leads somewhere, and
/// then all of it is committed or none. A target deleted between the look and the commit is noticed by the store, in the
/// transaction itself.
/// </summary>
/// <param name="witness">Called with every set that is about to be committed, when all is checked: adds what is to be written with it, such as who wrote it.</param>
/// <param name="ownBase">Address of this service, such as https://clinic.example/fhir; what is referred to by it is referred to by type and id.</param>
public sealed class RecordWriter(RecordStore store, ResourceValidator validator, Action<WriteSet>? witness = null, string? ownBase = null)
{
    internal string? OwnBase => ownBase;

    /// <exception cref="RefusedException">Malformed or Invalid with all issues; StaleVersion, Conflict, KeyReused or Unavailable from the store.</exception>
    public async Task<CommitResult> WriteAsync(WriteSet set, CancellationToken ct = default)
    {
        ArgumentNullException.ThrowIfNull(set);
        try
        {
            var result = await TryWriteAsync(set, ct);
            RecordMeter.Writes.Add(1, new KeyValuePair<string, object?>("outcome", result.EarlierAnswer is null ? "stored" : "repeated"));
            return result;
        }
        catch (RefusedException refused)
        {
            RecordMeter.Writes.Add(1, new("outcome", "refused"), new("reason", refused.Refusal.ToString()));
            throw;
        }
    }

    private async Task<CommitResult> TryWriteAsync(WriteSet set, CancellationToken ct)
    {
        // A repeat gets its answer even if the record has moved on since and would not accept the same again.
        foreach (var key in set.Keys)
            if (await store.AnswerOfAsync(key, ct) is { } earlier)
                return new CommitResult([], earlier);

        // Before anything looks at whom the set is about.
        OwnAddresses.MakeRelative(set, ownBase);
        if (await SignedRecords.ProblemsAsync(store, set, ct) is { Count: > 0 } signed)
            throw new RefusedException(Refusal.Conflict, signed);
        if (Verdict.Of(await ProblemsAsync(set, ct)) is { } refused)
            throw refused;
        witness?.Invoke(set);
        return await store.CommitAsync(set, ct);
    }

    /// <summary>Everything that would be said about the set, without writing it.</summary>
    public Task<IReadOnlyList<Issue>> IssuesAsync(WriteSet set, CancellationToken ct = default)
    {
        ArgumentNullException.ThrowIfNull(set);
        OwnAddresses.MakeRelative(set, ownBase);
        return ProblemsAsync(set, ct);
    }

    private async Task<IReadOnlyList<Issue>> ProblemsAsync(WriteSet set, CancellationToken ct)
    {
        var found = await Task.WhenAll(set.Writes.Select(write => Task.Run(() => ValidateAsync(write, ct), ct)));
        var references = await StoredReferences.OfAsync(store, set, ct);
        var issues = new List<Issue>();
        for (var i = 0; i < set.Writes.Count; i++)
        {
            var write = set.Writes[i];
            IEnumerable<Issue> these = found[i];
            if (write.Resource is { } resource)
                these = these.Concat(await references.ProblemsAsync(resource, ct));
            issues.AddRange(these.Select(issue => issue with { Write = i, Message = set.Writes.Count == 1 ? issue.Message : $"{issue.Message} (in {write.Type}/{write.Id})" }));
        }

        return issues;
    }

    private async Task<IReadOnlyList<Issue>> ValidateAsync(Write write, CancellationToken ct) =>
        write.Resource is null ? [] : await validator.ValidateAsync(write.Resource, ct: ct);
}
