using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Bundles;

/// <summary>What a change is going to do.</summary>
/// <param name="Existing">The version that it was made from, found, or is going to delete.</param>
/// <param name="Body">What is going to be stored.</param>
/// <param name="Target">What the change's fullUrl stands for.</param>
internal sealed record Planned(Effect Effect, RecordVersion? Existing, Resource? Body, Target? Target);

/// <summary>Looks at the record as it is now and says what each change is going to do; writes nothing.</summary>
internal sealed class ChangePlanner(RecordStore store, ResourceRegistry registry, string? ownBase)
{
    /// <param name="doomed">Addresses of what the same transaction deletes; no condition is met by them.</param>
    /// <param name="holders">Who holds the identifiers that conditions name.</param>
    public async Task<Planned> PlanAsync(Change change, IReadOnlySet<string> doomed, IdentifierHolders holders, CancellationToken ct)
    {
        RequireOffered(change);
        return change.Kind switch
        {
            ChangeKind.Create => await CreationAsync(change, doomed, holders, ct),
            ChangeKind.Update => await UpdateAsync(change, doomed, holders, ct),
            ChangeKind.Patch => await PatchAsync(change, doomed, ct),
            _ => await DeletionAsync(change, doomed, ct),
        };
    }

    private async Task<Planned> CreationAsync(Change change, IReadOnlySet<string> doomed, IdentifierHolders holders, CancellationToken ct)
    {
        if (string.IsNullOrEmpty(change.IfNoneExist))
            return Creation(change);
        var at = At(change, "request.ifNoneExist", "");
        var condition = holders.Claimed(change, change.IfNoneExist, at);
        if (await holders.OfAsync(change.Type, condition, at, ct) is not { } id || await store.ReadAsync(change.Type, id, ct) is not { } existing || doomed.Contains(existing.Address))
            return Creation(change);
        await holders.RefuseCarerOfAnotherAsync(change, condition, id, at, ct);
        return new Planned(Effect.Found, existing, null, new Target(existing.Type, existing.Id, existing.Version));
    }

    private async Task<Planned> UpdateAsync(Change change, IReadOnlySet<string> doomed, IdentifierHolders holders, CancellationToken ct)
    {
        var bodyId = change.Resource!.Id;
        if (change.Condition is null && bodyId != change.Id)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid,
                $"The address names {change.Type}/{change.Id}, the body has id '{bodyId}'. They must be the same.", At(change, "resource.id", $"{change.Type}.id"));
        var current = await CurrentAsync(change, doomed, ct);
        if (current is null)
            return change.Condition is null
                ? throw NoIdsFromOutside(change, $"There is no {change.Type}/{change.Id}", At(change, "request.url", ""))
                : CreationUnderCondition(change, bodyId, holders);
        if (bodyId is not null && bodyId != current.Id)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid,
                $"The condition is met by {current.Address}, the body has id '{bodyId}'. Leave the id out, or name the resource by it.", At(change, "resource.id", $"{change.Type}.id"));
        VersionTag.Require(current, change.IfMatch, At(change, "request.ifMatch", ""));
        var body = Copy(change, change.Resource);
        body.Id = current.Id;
        return new Planned(Effect.Updated, current, body, new Target(change.Type, current.Id, current.Version + 1));
    }

    private static Planned CreationUnderCondition(Change change, string? bodyId, IdentifierHolders holders)
    {
        if (!string.IsNullOrWhiteSpace(change.IfMatch))
            throw new RefusedException(Refusal.StaleVersion, OperationOutcome.IssueType.Conflict,
                $"No {change.Type} matches '{change.Condition}', so there is no version {change.IfMatch} to change.", At(change, "request.ifMatch", ""));
        if (bodyId is not null)
            throw NoIdsFromOutside(change, $"No {change.Type} matches '{change.Condition}' and the body has id '{bodyId}'", At(change, "resource.id", $"{change.Type}.id"));
        // Under any other condition two callers at once would create two.
        _ = holders.Claimed(change, change.Condition!, At(change, "request.url", ""));
        return Creation(change);
    }

    private async Task<Planned> PatchAsync(Change change, IReadOnlySet<string> doomed, CancellationToken ct)
    {
        var current = await CurrentAsync(change, doomed, ct);
        var place = At(change, "request.url", "");
        if (current is null)
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound,
                change.Condition is null ? $"There is no {change.Type}/{change.Id}." : $"No {change.Type} matches '{change.Condition}'; nothing is patched.", place);
        if (current.Deleted)
            throw new RefusedException(Refusal.Gone, OperationOutcome.IssueType.Deleted, $"{current.Address} was deleted. PUT brings it back, a patch does not.", place) { CurrentVersion = current.Version };
        VersionTag.Require(current, change.IfMatch, At(change, "request.ifMatch", ""));
        var body = Copy(change, change.Patch!.ApplyTo(current));
        var same = body.IsExactly(Copy(change, Parsing.ResourceReader.Trusted<Resource>(current.Json)));
        return same
            ? new Planned(Effect.Unchanged, current, null, new Target(change.Type, current.Id, current.Version))
            : new Planned(Effect.Updated, current, body, new Target(change.Type, current.Id, current.Version + 1));
    }

    private async Task<Planned> DeletionAsync(Change change, IReadOnlySet<string> doomed, CancellationToken ct)
    {
        var existing = await CurrentAsync(change, doomed, ct);
        if (existing is null or { Deleted: true })
            return new Planned(Effect.AlreadyGone, existing, null, null);
        VersionTag.Require(existing, change.IfMatch, At(change, "request.ifMatch", ""));
        return new Planned(Effect.Deleted, existing, null, null);
    }

    private Task<RecordVersion?> CurrentAsync(Change change, IReadOnlySet<string> doomed, CancellationToken ct) =>
        change.Condition is { } condition ? OneThatMeetsAsync(change, condition, doomed, ct) : store.ReadAsync(change.Type, change.Id!, ct);

    private async Task<RecordVersion?> OneThatMeetsAsync(Change change, string condition, IReadOnlySet<string> doomed, CancellationToken ct)
    {
        var at = At(change, "request.url", "");
        SearchQuery query;
        try
        {
            query = SearchQuery.Parse(store.Parameters, change.Type, condition, ownBase: ownBase);
        }
        catch (RefusedException refused) when (at.Length > 0)
        {
            throw new RefusedException(refused.Refusal, [.. refused.Issues.Select(i => i with { Expression = at })]);
        }
        if (query.Criteria.Count == 0 || query.Used.Count != query.Criteria.Count || query.Cursor is not null)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid,
                $"The condition '{condition}' must consist of search parameters of {change.Type} and nothing else, such as identifier=<system>|<value>.", at);
        var found = (await store.SearchAsync(query with { Count = 2 + doomed.Count }, ct)).Matches.Where(m => !doomed.Contains(m.Address)).ToList();
        return found.Count <= 1
            ? found.Count == 0 ? null : found[0]
            : throw new RefusedException(Refusal.Ambiguous, OperationOutcome.IssueType.MultipleMatches,
                $"The condition '{condition}' is met by {found[0].Address}, {found[1].Address} and perhaps more. Narrow it, or name the resource by its id.", at);
    }

    private static Planned Creation(Change change)
    {
        var created = Copy(change, change.Resource!);
        created.Id = NewId.Next();
        return new Planned(Effect.Created, null, created, new Target(change.Type, created.Id, 1));
    }

    private void RequireOffered(Change change)
    {
        var place = At(change, "request.url", "");
        var kind = registry.Find(change.Type) ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotSupported,
            $"{change.Type} is not kept here; the CapabilityStatement lists the types that are.", place);
        var needed = change.Kind switch
        {
            ChangeKind.Create => Interactions.Create,
            ChangeKind.Update => change.Condition is null ? Interactions.Update : Interactions.ConditionalUpdate,
            ChangeKind.Patch => Interactions.Patch,
            _ => change.Condition is null ? Interactions.Delete : Interactions.ConditionalDelete,
        };
        if (!kind.Offers(needed))
            throw new RefusedException(Refusal.NotAllowed, OperationOutcome.IssueType.NotSupported, $"{needed} is not offered for {change.Type}.", place);
    }

    private static RefusedException NoIdsFromOutside(Change change, string what, string expression) =>
        new(Refusal.NotAllowed, OperationOutcome.IssueType.NotSupported, $"{what}, and ids are given by the service alone. Create it with POST /{change.Type}.", expression);

    // The caller's id of something new, and its version and time, are the service's to give.
    private static Resource Copy(Change change, Resource resource)
    {
        var copy = (Resource)resource.DeepCopy();
        if (copy.Meta is { } meta)
        {
            if (meta.Tag.Exists(t => t.Code == "SUBSETTED"))
                throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.BusinessRule,
                    "The resource is tagged SUBSETTED: it is a part of one, and storing it would lose the rest. Read the whole, change that and send it.", At(change, "resource.meta.tag", $"{change.Type}.meta.tag"));
            meta.VersionId = null;
            meta.LastUpdated = null;
            if (!meta.EnumerateElements().Any())
                copy.Meta = null;
        }
        return copy;
    }

    private static string At(Change change, string inEntry, string alone) => change.Path.Length == 0 ? alone : $"{change.Path}.{inEntry}";
}
