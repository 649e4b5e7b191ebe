using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Rest;

/// <summary>Whether a write would be accepted: what its resource says is checked, then it is done and taken back.</summary>
internal static class Trial
{
    public static async Task<IReadOnlyList<Issue>> CreateAsync(Call call, Resource resource)
    {
        var set = new WriteSet();
        var copy = (Resource)resource.DeepCopy();
        copy.Id = null;
        set.Create(copy);
        return NotOffered(call, resource.TypeName, Interactions.Create) ?? await OfAsync(call, set);
    }

    public static async Task<IReadOnlyList<Issue>> UpdateAsync(Call call, Resource resource, RecordVersion current)
    {
        if (NotOffered(call, call.Type, Interactions.Update) is { } refused)
            return refused;
        if (resource.Id != current.Id)
            return [Issue.Error(OperationOutcome.IssueType.Invalid, $"An update of {current.Type}/{current.Id} carries id '{resource.Id}'; they must be the same.", $"{call.Type}.id")];
        // The version the change was made from, as far as the caller says it.
        var tag = call.Http.Request.Headers.IfMatch.ToString();
        var from = VersionTag.Read(tag) ?? (int.TryParse(resource.Meta?.VersionId, out var version) ? version : current.Version);
        var set = new WriteSet();
        set.Update((Resource)resource.DeepCopy(), from);
        return await OfAsync(call, set);
    }

    public static async Task<IReadOnlyList<Issue>> DeleteAsync(Call call, RecordVersion current)
    {
        var set = new WriteSet();
        set.Delete(current.Type, current.Id, current.Version);
        return NotOffered(call, call.Type, Interactions.Delete) ?? await OfAsync(call, set);
    }

    private static async Task<IReadOnlyList<Issue>> OfAsync(Call call, WriteSet set)
    {
        // Of the one write there is: what it says is told as for the resource alone.
        var issues = (await call.Need<RecordWriter>().IssuesAsync(set, call.Ct)).Select(i => i with { Write = null }).ToList();
        if (issues.Exists(i => i.Refuses))
            return issues;
        try
        {
            await call.Need<RecordStore>().TryAsync(set, call.Ct);
        }
        catch (RefusedException refused) when (refused.Refusal != Refusal.Unavailable)
        {
            issues.AddRange(refused.Issues);
        }

        return issues;
    }

    private static IReadOnlyList<Issue>? NotOffered(Call call, string type, Interactions interaction) =>
        call.Need<ResourceRegistry>().Find(type)?.Offers(interaction) == true
            ? null
            : [Issue.Error(OperationOutcome.IssueType.NotSupported, $"{interaction} is not offered for {type}.", type)];
}
