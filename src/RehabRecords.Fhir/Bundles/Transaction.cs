using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Fhir.Bundles;

public enum Effect
{
    Created,

    /// <summary>A creation under a condition found what it would have created.</summary>
    Found,
    Updated,
    Deleted,

    /// <summary>What was to be deleted is not there.</summary>
    AlreadyGone,
}

/// <summary>What a change came to.</summary>
/// <param name="Version">The version it made or found; null when there was nothing to delete.</param>
public sealed record Changed(Effect Effect, RecordVersion? Version);

/// <summary>
/// Carries out changes, one or many, all or none of them. Deletions come first, then creations, then updates; the order
/// in which they were asked for does not matter.
/// </summary>
public sealed class Transaction(RecordStore store, RecordWriter writer, ResourceRegistry registry)
{
    // Another caller may create what a condition names between our look and our commit; then the next look finds it.
    private const int MostTries = 5;

    public async Task<Changed> OneAsync(Change change, CancellationToken ct) => (await AllAsync([change], "", ct))[0];

    /// <param name="changes">In the order of the request.</param>
    /// <param name="ownBase">The base of this service, by which entries may name resources it already holds.</param>
    /// <returns>One answer for each change, in the same order.</returns>
    public async Task<IReadOnlyList<Changed>> AllAsync(IReadOnlyList<Change> changes, string ownBase, CancellationToken ct)
    {
        RefuseDoubles(changes);
        var conditional = changes.Any(c => !string.IsNullOrEmpty(c.IfNoneExist));
        for (var attempt = 1; ; attempt++)
        {
            var plan = await PlanAsync(changes, ownBase, ct);
            try
            {
                return await CarryOutAsync(changes, plan, ct);
            }
            catch (RefusedException refused) when (refused.Refusal == Refusal.Conflict && conditional && attempt < MostTries)
            {
            }
        }
    }

    private async Task<Planned[]> PlanAsync(IReadOnlyList<Change> changes, string ownBase, CancellationToken ct)
    {
        var plan = new Planned[changes.Count];
        var targets = new Dictionary<string, Target>(StringComparer.Ordinal);
        for (var i = 0; i < changes.Count; i++)
        {
            plan[i] = await PlanAsync(changes[i], ct);
            if (changes[i].FullUrl is { Length: > 0 } fullUrl && plan[i].Target is { } target && !targets.TryAdd(fullUrl, target))
                throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Duplicate,
                    $"fullUrl '{fullUrl}' is given twice; a name stands for one entry.", changes[i].Path + ".fullUrl");
        }
        if (changes is not [{ Path: "" }])
            await RewriteAsync(changes, plan, targets, ownBase, ct);
        return plan;
    }

    private async Task<Planned> PlanAsync(Change change, CancellationToken ct)
    {
        RequireOffered(change);
        switch (change.Kind)
        {
            case ChangeKind.Create:
                if (!string.IsNullOrEmpty(change.IfNoneExist) && await FindAsync(change, ct) is { } existing)
                    return new Planned(Effect.Found, existing, null, new Target(existing.Type, existing.Id, existing.Version));
                var created = Copy(change);
                created.Id = NewId.Next();
                return new Planned(Effect.Created, null, created, new Target(change.Type, created.Id, 1));

            case ChangeKind.Update:
                if (change.Resource!.Id != change.Id)
                    throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid,
                        $"The address names {change.Type}/{change.Id}, the body has id '{change.Resource.Id}'. They must be the same.", At(change, "resource.id", $"{change.Type}.id"));
                var current = await store.ReadAsync(change.Type, change.Id!, ct);
                if (current is null)
                    throw new RefusedException(Refusal.NotAllowed, OperationOutcome.IssueType.NotSupported,
                        $"There is no {change.Type}/{change.Id}, and ids are given by the service alone. Create it with POST /{change.Type}.", At(change, "request.url", ""));
                VersionTag.Require(current, change.IfMatch, At(change, "request.ifMatch", ""));
                return new Planned(Effect.Updated, current, Copy(change), new Target(change.Type, change.Id!, current.Version + 1));

            default:
                var doomed = await store.ReadAsync(change.Type, change.Id!, ct);
                if (doomed is null or { Deleted: true })
                    return new Planned(Effect.AlreadyGone, doomed, null, null);
                VersionTag.Require(doomed, change.IfMatch, At(change, "request.ifMatch", ""));
                return new Planned(Effect.Deleted, doomed, null, null);
        }
    }

    private async Task<RecordVersion?> FindAsync(Change change, CancellationToken ct)
    {
        var at = At(change, "request.ifNoneExist", "");
        var condition = IdentifierCondition.Parse(change.IfNoneExist!, at);
        // Only what carries the identifier claims it; without the claim a second caller would create a second one.
        if (!condition.Holds(change.Resource!))
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.BusinessRule,
                $"The condition names identifier {condition}, which the resource does not carry. Add it to the resource.", at);
        return await store.HolderOfAsync(change.Type, condition.System, condition.Value, ct) is { } id ? await store.ReadAsync(change.Type, id, ct) : null;
    }

    private async Task RewriteAsync(IReadOnlyList<Change> changes, Planned[] plan, Dictionary<string, Target> targets, string ownBase, CancellationToken ct)
    {
        var issues = new List<Issue>();
        var met = new Dictionary<string, string>(StringComparer.Ordinal);
        for (var i = 0; i < plan.Length; i++)
        {
            if (plan[i].Body is not { } body)
                continue;
            foreach (var (reference, path) in TransactionReferences.Conditions(body, changes[i].Path + ".resource"))
            {
                if (!met.ContainsKey(reference) && await MeetAsync(reference, path, plan, issues, ct) is { } address)
                    met.Add(reference, address);
            }
        }
        var references = new TransactionReferences(targets, met, ownBase);
        for (var i = 0; i < plan.Length; i++)
        {
            if (plan[i].Body is { } body)
                references.Rewrite(body, changes[i].FullUrl, changes[i].Path + ".resource", issues);
        }
        if (issues.Count > 0)
            throw new RefusedException(Refusal.Invalid, issues);
    }

    // A condition may be met by what this very transaction writes, and not by what it deletes.
    private async Task<string?> MeetAsync(string reference, string path, Planned[] plan, List<Issue> issues, CancellationToken ct)
    {
        var type = reference[..reference.IndexOf('?', StringComparison.Ordinal)];
        var condition = IdentifierCondition.Parse(reference[type.Length..], path);
        var here = Array.Find(plan, p => p.Body?.TypeName == type && condition.Holds(p.Body));
        if (here is not null)
            return here.Target!.Address;
        var holder = await store.HolderOfAsync(type, condition.System, condition.Value, ct);
        if (holder is not null && !plan.Any(p => p.Existing?.Type == type && p.Existing.Id == holder && p.Effect is Effect.Deleted or Effect.Updated))
            return $"{type}/{holder}";
        issues.Add(Issue.Error(OperationOutcome.IssueType.NotFound, $"'{reference}' matches no {type}. Create it in the same Bundle or correct the identifier.", path));
        return null;
    }

    private async Task<IReadOnlyList<Changed>> CarryOutAsync(IReadOnlyList<Change> changes, Planned[] plan, CancellationToken ct)
    {
        var set = new WriteSet();
        var places = new List<int>();
        foreach (var effect in new[] { Effect.Deleted, Effect.Created, Effect.Updated })
        {
            for (var i = 0; i < plan.Length; i++)
            {
                if (plan[i].Effect != effect)
                    continue;
                places.Add(i);
                if (effect == Effect.Deleted)
                    set.Delete(changes[i].Type, changes[i].Id!, plan[i].Existing!.Version);
                else if (effect == Effect.Created)
                    set.Create(plan[i].Body!);
                else
                    set.Update(plan[i].Body!, plan[i].Existing!.Version);
            }
        }
        var results = plan.Select(p => new Changed(p.Effect, p.Existing)).ToArray();
        if (places.Count == 0)
            return results;
        try
        {
            var committed = await writer.WriteAsync(set, ct);
            for (var i = 0; i < places.Count; i++)
                results[places[i]] = results[places[i]] with { Version = committed.Written[i] };
            return results;
        }
        catch (RefusedException refused) when (changes[0].Path.Length > 0)
        {
            throw new RefusedException(refused.Refusal, [.. refused.Issues.Select(issue => issue.Write is { } write ? InEntry(issue, changes[places[write]].Path, set.Writes[write]) : issue)]);
        }
    }

    // The caller knows entries, not the ids that their resources would have got.
    private static Issue InEntry(Issue issue, string path, Write write)
    {
        var dot = issue.Expression.IndexOf('.', StringComparison.Ordinal);
        var id = $" (in {write.Type}/{write.Id})";
        return issue with
        {
            Expression = $"{path}.resource{(dot < 0 ? "" : issue.Expression[dot..])}",
            Message = issue.Message.EndsWith(id, StringComparison.Ordinal) ? issue.Message[..^id.Length] : issue.Message,
        };
    }

    private void RequireOffered(Change change)
    {
        var place = At(change, "request.url", "");
        var kind = registry.Find(change.Type) ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotSupported,
            $"{change.Type} is not kept here; the CapabilityStatement lists the types that are.", place);
        var needed = change.Kind switch { ChangeKind.Create => Interactions.Create, ChangeKind.Update => Interactions.Update, _ => Interactions.Delete };
        if (!kind.Offers(needed))
            throw new RefusedException(Refusal.NotAllowed, OperationOutcome.IssueType.NotSupported, $"{needed} is not offered for {change.Type}.", place);
    }

    private static void RefuseDoubles(IReadOnlyList<Change> changes)
    {
        var seen = new HashSet<string>(StringComparer.Ordinal);
        foreach (var change in changes.Where(c => c.Id is not null))
        {
            if (!seen.Add($"{change.Type}/{change.Id}"))
                throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Duplicate,
                    $"{change.Type}/{change.Id} is changed by two entries; which one wins would depend on their order. Keep one.", change.Path + ".request.url");
        }
    }

    // The caller's id of something new, and its version and time, are the service's to give.
    private static Resource Copy(Change change)
    {
        var copy = (Resource)change.Resource!.DeepCopy();
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

    private sealed record Planned(Effect Effect, RecordVersion? Existing, Resource? Body, Target? Target);
}
