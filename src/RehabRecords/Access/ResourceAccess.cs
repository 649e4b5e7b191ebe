using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Access;

/// <summary>Scopes by type and interaction, for each way in which a request under /fhir reaches a type.</summary>
internal static class ResourceAccess
{
    /// <summary>A search asks for every type it looks at, also by way of a chain: what is only counted is told too.</summary>
    public static void Require(Calling calling, SearchQuery query)
    {
        if (calling.Caller.IsAnybody)
            return;
        foreach (var type in query.Types)
            calling.Require(type, 's');
        foreach (var criterion in query.Criteria)
            Require(calling, criterion);
    }

    public static void RequireAll(Calling calling, char letter)
    {
        if (!calling.Caller.IsAnybody && calling.Caller.Scopes?.Any(s => s.Covers("*", letter)) != true)
            throw Calling.Refused($"This reaches every type, and needs the scope system/*.{letter}, which the token does not have. Ask for it, or ask type by type.");
    }

    /// <summary>A search over several types that names none is over those that the caller may search.</summary>
    public static IReadOnlyList<KeyValuePair<string, string>> Narrowed(
        Calling calling, ResourceRegistry registry, IReadOnlyList<KeyValuePair<string, string>> pairs, PatientCompartment? compartment = null)
    {
        if (calling.Caller.IsAnybody || pairs.Any(p => p.Key == "_type" && p.Value.Length > 0))
            return pairs;
        var types = registry.Kinds.Where(k => k.Offers(Interactions.Search) && (compartment is null || compartment.LinksOf(k.Type).Count > 0)).Select(k => k.Type).ToList();
        var allowed = types.Where(t => calling.Caller.May(t, 's')).ToList();
        if (allowed.Count == 0)
            calling.Require(types[0], 's');
        // Without any parameter the search stays refused as it is.
        return allowed.Count == types.Count || (pairs.Count == 0 && compartment is null) ? pairs : [.. pairs, new("_type", string.Join(',', allowed))];
    }

    /// <summary>A condition looks for what is there, so it asks for search too; an update of what is not there creates it.</summary>
    public static async System.Threading.Tasks.Task RequireAsync(Calling calling, RecordStore store, Change change, CancellationToken ct)
    {
        var caller = calling.Caller;
        if (caller.IsAnybody)
            return;
        calling.Require(change.Type, change.Kind switch
        {
            ChangeKind.Create => 'c',
            ChangeKind.Delete => 'd',
            _ => 'u',
        });
        if (!string.IsNullOrEmpty(change.IfNoneExist) || change.Condition is not null)
        {
            calling.Require(change.Type, 's');
            // A caller who sees some people only could ask in this way for others.
            if (caller.People is not null)
                throw Calling.Refused("Conditions look through the whole record; a caller who sees some people only names resources by their id.");
        }
        foreach (var type in change.LookedFor)
            calling.Require(type, 's');
        // The answer to a patch is the whole of what was patched.
        if (change.Kind == ChangeKind.Patch)
            calling.Require(change.Type, 'r');
        if (change.Kind == ChangeKind.Update && !caller.May(change.Type, 'c') && (change.Id is null || await store.ReadAsync(change.Type, change.Id, ct) is null))
            calling.Require(change.Type, 'c');
    }

    /// <summary>What an operation reaches. One that is not listed reaches everything.</summary>
    public static void Require(Calling calling, Operation operation, string type)
    {
        if (calling.Caller.IsAnybody)
            return;
        switch (operation.Name)
        {
            case "validate":
                break;
            case "everything":
                calling.Require("Patient", 'r');
                break;
            case "export":
                if (calling.Caller.People is not null)
                    throw Calling.Refused("An export is of the whole record; a caller who sees some people only reads them one by one.");
                calling.Require("Patient", 'r');
                break;
            default:
                RequireAll(calling, 'r');
                if (operation.Methods.Contains("POST"))
                    RequireWrites(calling, operation);
                break;
        }
    }

    private static void RequireWrites(Calling calling, Operation operation)
    {
        if (operation.Name is "document" or "apply")
            return;
        if (operation.Methods.Contains("GET"))
            calling.Require(Act.HandOver);
        else
            calling.Require(Act.TakeIn);
    }

    private static void Require(Calling calling, Criterion criterion)
    {
        if (criterion is not (ChainCriterion or HasCriterion))
            return;
        if (calling.Caller.People is not null)
            throw Calling.Refused("Chains and _has look through the whole record; a caller who sees some people only searches without them.");
        if (criterion is HasCriterion has)
        {
            calling.Require(has.Type, 's');
            calling.Require(has.Parameter.Type, 's');
            Require(calling, has.Inner);
        }
        else if (criterion is ChainCriterion chain)
        {
            foreach (var target in chain.Targets)
            {
                calling.Require(target.Type, 's');
                Require(calling, target.Inner);
            }
        }
    }
}
