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

    /// <summary>A patch that changes nothing made no new version.</summary>
    Unchanged,
    Deleted,

    /// <summary>What was to be deleted is not there.</summary>
    AlreadyGone,
}

/// <summary>What a change came to.</summary>
/// <param name="Version">The version it made or found; null when there was nothing to delete.</param>
public sealed record Changed(Effect Effect, RecordVersion? Version);

/// <summary>
/// Carries out changes, one or many, all or none of them. Deletions come first, then creations, then updates and
/// patches; the order in which they were asked for does not matter.
/// </summary>
public sealed class Transaction(RecordStore store, RecordWriter writer, ResourceRegistry registry)
{
    private readonly ChangePlanner _planner = new(store, registry, writer.OwnBase);

    // Another caller may create what a condition names between our look and our commit; then the next look finds it.
    private const int MostTries = 5;

    // Two deletions of one resource are two changes of it, whichever is listed first.
    private static readonly HashSet<string> NothingGone = [];


    public async Task<Changed> OneAsync(Change change, CancellationToken ct) => (await AllAsync([change], ct))[0];

    /// <param name="changes">In the order of the request.</param>
    /// <returns>One answer for each change, in the same order.</returns>
    public async Task<IReadOnlyList<Changed>> AllAsync(IReadOnlyList<Change> changes, CancellationToken ct)
    {
        RefuseDoubles(changes, i => changes[i].Id);
        var conditional = changes.Any(c => !string.IsNullOrEmpty(c.IfNoneExist) || c.Condition is not null);
        for (var attempt = 1; ; attempt++)
        {
            var plan = await PlanAsync(changes, ct);
            try
            {
                return await CarryOutAsync(changes, plan, ct);
            }
            catch (RefusedException refused) when (refused.Refusal == Refusal.Conflict && conditional && attempt < MostTries)
            {
            }
        }
    }

    private async Task<Planned[]> PlanAsync(IReadOnlyList<Change> changes, CancellationToken ct)
    {
        var plan = new Planned[changes.Count];
        var doomed = new HashSet<string>(StringComparer.Ordinal);
        var targets = new Dictionary<string, Target>(StringComparer.Ordinal);
        var holders = new IdentifierHolders(store, new TransactionReferences(targets, new Dictionary<string, string>(), writer.OwnBase));
        foreach (var i in Enumerable.Range(0, changes.Count).OrderBy(i => Turn(changes[i])))
        {
            plan[i] = await _planner.PlanAsync(changes[i], changes[i].Kind == ChangeKind.Delete ? NothingGone : doomed, holders, ct);
            if (plan[i] is { Effect: Effect.Deleted, Existing: { } going })
                doomed.Add(going.Address);
            if (changes[i].FullUrl is { Length: > 0 } fullUrl && plan[i].Target is { } target && !targets.TryAdd(fullUrl, target))
                throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Duplicate,
                    $"fullUrl '{fullUrl}' is given twice; a name stands for one entry.", changes[i].Path + ".fullUrl");
        }
        // A condition may name what another entry names by its id.
        RefuseDoubles(changes, i => plan[i].Effect == Effect.Found ? null : plan[i].Existing?.Id);
        if (changes is not [{ Path: "" }])
            await RewriteAsync(changes, plan, targets, holders, ct);
        return plan;
    }

    // Deletions first: no condition of another entry is met by what is gone when it is looked at. Conditions about
    // somebody's carer last: the person may be another entry, and is then called by its fullUrl.
    private static int Turn(Change change) => change switch
    {
        { Kind: ChangeKind.Delete } => 0,
        { Type: "RelatedPerson", IfNoneExist: { Length: > 0 } } => 2,
        _ => 1,
    };

    private async Task RewriteAsync(IReadOnlyList<Change> changes, Planned[] plan, Dictionary<string, Target> targets, IdentifierHolders holders, CancellationToken ct)
    {
        var issues = new List<Issue>();
        var met = new Dictionary<string, string>(StringComparer.Ordinal);
        for (var i = 0; i < plan.Length; i++)
        {
            if (plan[i].Body is not { } body)
                continue;
            foreach (var (reference, path) in TransactionReferences.Conditions(body, changes[i].Path + ".resource"))
            {
                if (!met.ContainsKey(reference) && await MeetAsync(reference, path, changes, plan, holders, issues, ct) is { } address)
                    met.Add(reference, address);
            }
        }
        var references = new TransactionReferences(targets, met, writer.OwnBase);
        for (var i = 0; i < plan.Length; i++)
        {
            if (plan[i].Body is { } body)
                references.Rewrite(body, OriginOf(changes[i]), changes[i].Path + ".resource", issues);
        }
        if (issues.Count > 0)
            throw new RefusedException(Refusal.Invalid, issues);
    }

    // What is patched lies here, so its relative references are ours whatever the entry is called.
    private static string? OriginOf(Change change) => change.Kind == ChangeKind.Patch ? null : change.FullUrl;

    // A condition may be met by what this very transaction writes, and not by what it deletes.
    private static async Task<string?> MeetAsync(
        string reference, string path, IReadOnlyList<Change> changes, Planned[] plan, IdentifierHolders holders, List<Issue> issues, CancellationToken ct)
    {
        var type = reference[..reference.IndexOf('?', StringComparison.Ordinal)];
        var condition = IdentifierCondition.Parse(type, reference[type.Length..], path);
        for (var i = 0; i < plan.Length; i++)
            if (plan[i].Body is { } body && body.TypeName == type && holders.IsMetBy(condition, body, OriginOf(changes[i])))
                return plan[i].Target!.Address;
        var holder = await holders.OfAsync(type, condition, path, ct);
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
                    set.Delete(changes[i].Type, plan[i].Existing!.Id, plan[i].Existing!.Version);
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
            throw new RefusedException(refused.Refusal, [.. refused.Issues.Select(issue => issue.Write is { } write ? InEntry(issue, changes[places[write]].Path, set.Writes[write]) : issue)]) { CurrentVersion = refused.CurrentVersion };
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

    private static void RefuseDoubles(IReadOnlyList<Change> changes, Func<int, string?> idOf)
    {
        var seen = new HashSet<string>(StringComparer.Ordinal);
        for (var i = 0; i < changes.Count; i++)
        {
            if (idOf(i) is { } id && !seen.Add($"{changes[i].Type}/{id}"))
                throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Duplicate,
                    $"{changes[i].Type}/{id} is changed by two entries; which one wins would depend on their order. Keep one.", changes[i].Path + ".request.url");
        }
    }
}
