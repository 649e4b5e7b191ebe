using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Validation;

/// <summary>Looks whether the references of a set lead somewhere: to a resource of the set, or to one in the store.</summary>
internal sealed class StoredReferences
{
    private readonly RecordStore _store;
    private readonly Dictionary<(string Type, string Id), Write> _inSet;
    private readonly Dictionary<Resource, List<Reference>> _references;
    private readonly Dictionary<(string Type, string Id), bool> _deleted;
    private readonly Dictionary<string, string?> _replaced = new(StringComparer.Ordinal);
    private readonly Dictionary<string, string?> _asked = new(StringComparer.Ordinal);

    private readonly record struct Reference(string At, string Text, LiteralReference Literal);

    private StoredReferences(RecordStore store, Dictionary<(string Type, string Id), Write> inSet, Dictionary<Resource, List<Reference>> references, Dictionary<(string Type, string Id), bool> deleted) =>
        (_store, _inSet, _references, _deleted) = (store, inSet, references, deleted);

    /// <summary>Asks the store once for all that the set refers to: a note after long practice rests on a thousand results.</summary>
    public static async Task<StoredReferences> OfAsync(RecordStore store, WriteSet set, CancellationToken ct)
    {
        var inSet = set.Writes.DistinctBy(w => (w.Type, w.Id)).ToDictionary(w => (w.Type, w.Id));
        // A stored Bundle is complete in itself; its references were resolved among its entries.
        var references = set.Writes.Select(w => w.Resource).OfType<Resource>().Where(r => r is not Bundle).Distinct().ToDictionary(r => r, r => References(r).ToList());
        var elsewhere = references.Values.SelectMany(all => all).Where(r => r.Literal is { IsLocal: true, Version: null }).Select(r => (r.Literal.Type!, r.Literal.Id!)).Where(r => !inSet.ContainsKey(r)).Distinct().ToList();
        return new StoredReferences(store, inSet, references, await store.WhetherDeletedAsync(elsewhere, ct));
    }

    public async Task<List<Issue>> ProblemsAsync(Resource resource, CancellationToken ct)
    {
        var problems = new List<Issue>();
        foreach (var (at, text, literal) in _references.GetValueOrDefault(resource) ?? [])
        {
            var problem = literal.IsLocal ? await ProblemAsync(literal, ct)
                : literal.IsUnreadable ? LiteralReference.Unreadable(text)
                : literal.IsConditional || text.StartsWith("urn:uuid:", StringComparison.Ordinal)
                    ? $"The reference {text} has a meaning in a transaction only. Refer to the resource as Type/id."
                    : null;
            problem ??= await ReplacedAsync(resource, literal, ct);
            if (problem is not null)
                problems.Add(Issue.Error(OperationOutcome.IssueType.NotFound, problem, at));
        }

        return problems;
    }

    private static IEnumerable<Reference> References(Resource resource) =>
        from found in ResourceView.Of(resource).All<ResourceReference>()
        let text = found.Value.Reference
        where text is { Length: > 0 } && !text.StartsWith('#')
        select new Reference(found.At.Path, text, LiteralReference.Of(text));

    /// <summary>What is written of somebody whose record was merged into another belongs to that one. What speaks of the past may name either.</summary>
    private async Task<string?> ReplacedAsync(Resource resource, LiteralReference literal, CancellationToken ct)
    {
        if (resource is Patient or Composition or Provenance or AuditEvent || literal is not { IsLocal: true, Type: "Patient", Id: { } id, Version: null } || _inSet.ContainsKey(("Patient", id)))
            return null;
        if (!_replaced.TryGetValue(id, out var survivor))
            _replaced[id] = survivor = await _store.ReadAsync("Patient", id, ct) is { Deleted: false } found && found.Json.Span.IndexOf("\"replaced-by\""u8) >= 0
                ? ResourceReader.Trusted<Patient>(found.Json).Link.FirstOrDefault(l => l.Type == Patient.LinkType.ReplacedBy)?.Other?.Reference
                : null;
        return survivor is null ? null : $"Patient/{id} was merged into {survivor}. Refer to that one.";
    }

    private async Task<string?> ProblemAsync(LiteralReference literal, CancellationToken ct)
    {
        if (!_asked.TryGetValue(literal.Text, out var problem))
            _asked[literal.Text] = problem = await AskAsync(literal.Type!, literal.Id!, literal.Version, ct);
        return problem;
    }

    private async Task<string?> AskAsync(string type, string id, string? version, CancellationToken ct)
    {
        if (_inSet.TryGetValue((type, id), out var write))
        {
            if (version is null)
                return write.IsDelete ? $"{type}/{id} is deleted by this same request." : null;
            if (version == (write.FromVersion + 1).ToString() && !write.IsDelete)
                return null;
        }

        if (version is null)
            return !_deleted.TryGetValue((type, id), out var deleted) ? $"There is no {type}/{id}. Store it first, or send both in one transaction."
                : deleted ? $"{type}/{id} was deleted."
                : null;

        var found = int.TryParse(version, out var number) ? await _store.ReadVersionAsync(type, id, number, ct) : null;
        return found is null or { Deleted: true } ? $"There is no version {version} of {type}/{id}." : null;
    }
}
