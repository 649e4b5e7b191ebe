using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Patch;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Bundles;

public enum ChangeKind
{
    Create,
    Update,
    Patch,
    Delete,
}

/// <summary>One change that a caller asks for, by itself or as an entry of a Bundle.</summary>
/// <param name="Id">The id in the address; null for a creation and for a change by condition.</param>
/// <param name="IfMatch">The entity tag the change was made from.</param>
/// <param name="IfNoneExist">The condition under which a creation finds instead of creates.</param>
/// <param name="FullUrl">What other entries call this one.</param>
/// <param name="Path">Where the change stands in the request, in front of every expression of an error; empty when it is the request.</param>
public sealed record Change(
    ChangeKind Kind, string Type, string? Id, Resource? Resource, string? IfMatch = null, string? IfNoneExist = null, string? FullUrl = null, string Path = "")
{
    /// <summary>The search that finds what is to be changed, in place of an id.</summary>
    public string? Condition { get; init; }

    /// <summary>Types among which references of the body look for what they mean, by a condition in place of an id.</summary>
    public IEnumerable<string> LookedFor => Resource is null ? [] : TransactionReferences.Conditions(Resource, "").Select(c => c.Reference.Split('?')[0]).Distinct(StringComparer.Ordinal);

    /// <summary>What to do to the resource, in place of a new one.</summary>
    public ResourcePatch? Patch { get; init; }
}

/// <summary>One entry of a batch or transaction Bundle: a change, or something to read.</summary>
/// <param name="Change">Null when the entry reads.</param>
/// <param name="ReadUrl">What to read, relative to the base; null when the entry changes.</param>
public sealed partial record TransactionEntry(int Index, Change? Change, string? ReadUrl)
{
    /// <summary>Tags of versions a reader has already, and the time of the one it has.</summary>
    public (string? IfNoneMatch, DateTimeOffset? IfModifiedSince) Has { get; private init; }

    /// <summary>Only what is said about the resource is wanted, not the resource.</summary>
    public bool HeadersOnly { get; private init; }

    /// <summary>More entries than this are refused before anything is done.</summary>
    public const int Most = 500;

    /// <summary>Refuses a Bundle that is too long; otherwise says what each entry asks for, or why it cannot be understood.</summary>
    public static IReadOnlyList<(TransactionEntry? Entry, RefusedException? Refused)> Of(Bundle bundle, string ownBase)
    {
        if (bundle.Entry.Count > Most)
            throw new RefusedException(Refusal.TooLarge, OperationOutcome.IssueType.TooCostly,
                $"The Bundle has {bundle.Entry.Count} entries; at most {Most} are taken at once. Send it in parts.", "Bundle.entry");
        var read = new List<(TransactionEntry?, RefusedException?)>();
        for (var i = 0; i < bundle.Entry.Count; i++)
        {
            try
            {
                read.Add((Of(i, bundle.Entry[i], ownBase), null));
            }
            catch (RefusedException refused)
            {
                read.Add((null, refused));
            }
        }
        return read;
    }

    private static TransactionEntry Of(int index, Bundle.EntryComponent entry, string ownBase)
    {
        var path = $"Bundle.entry[{index}]";
        var request = entry.Request ?? throw Wrong("The entry has no request, so there is nothing to do. Give request.method and request.url.", path + ".request");
        var url = ReferenceTypes.WithoutBase((request.Url ?? "").Trim(), ownBase).TrimStart('/');
        if (request.Method is Bundle.HTTPVerb.GET or Bundle.HTTPVerb.HEAD)
            return new TransactionEntry(index, null, url) { Has = (request.IfNoneMatch, request.IfModifiedSince), HeadersOnly = request.Method == Bundle.HTTPVerb.HEAD };

        var place = path + ".request.url";
        var mark = url.IndexOf('?', StringComparison.Ordinal);
        var (address, condition) = mark < 0 ? (url, null) : (url[..mark], url[(mark + 1)..]);
        var match = Address().Match(address);
        if (!match.Success)
            throw Wrong($"'{url}' is not an address of this service. Use <type> to create, <type>/<id> or <type>?<condition> to update, patch or delete.", place);
        var type = match.Groups["type"].Value;
        var id = match.Groups["id"] is { Success: true } found ? found.Value : null;
        var named = id is null != condition is null;
        var change = request.Method switch
        {
            Bundle.HTTPVerb.POST when id is null && condition is null => new Change(ChangeKind.Create, type, null, Body(entry, type, path), null, request.IfNoneExist, entry.FullUrl, path),
            Bundle.HTTPVerb.PUT when named => new Change(ChangeKind.Update, type, id, Body(entry, type, path), request.IfMatch, null, entry.FullUrl, path) { Condition = condition },
            Bundle.HTTPVerb.PATCH when named => new Change(ChangeKind.Patch, type, id, null, request.IfMatch, null, entry.FullUrl, path) { Condition = condition, Patch = Patch(entry, path) },
            Bundle.HTTPVerb.DELETE when named => new Change(ChangeKind.Delete, type, id, null, request.IfMatch, null, entry.FullUrl, path) { Condition = condition },
            Bundle.HTTPVerb.POST => throw Wrong($"A creation names only the type, not '{url}'. Use PUT to update, request.ifNoneExist for a condition.", place),
            Bundle.HTTPVerb.PUT or Bundle.HTTPVerb.PATCH or Bundle.HTTPVerb.DELETE => throw Wrong($"'{url}' names no resource. Use <type>/<id> or <type>?<condition>.", place),
            _ => throw Wrong("The entry has no method. Use GET, HEAD, POST, PUT, PATCH or DELETE.", path + ".request.method", OperationOutcome.IssueType.NotSupported),
        };
        return new TransactionEntry(index, change, null);
    }

    private static ResourcePatch Patch(Bundle.EntryComponent entry, string path) =>
        ResourcePatch.Of(entry.Resource ?? throw Wrong("The entry has no patch.", path + ".resource"), path + ".resource");

    private static Resource Body(Bundle.EntryComponent entry, string type, string path)
    {
        if (entry.Resource is null)
            throw Wrong("The entry has no resource to store.", path + ".resource");
        return entry.Resource.TypeName == type
            ? entry.Resource
            : throw Wrong($"The entry's resource is a {entry.Resource.TypeName}, its request.url names {type}. They must agree.", path + ".resource");
    }

    private static RefusedException Wrong(string message, string expression, OperationOutcome.IssueType code = OperationOutcome.IssueType.Invalid) =>
        new(Refusal.Malformed, code, message, expression);

    [GeneratedRegex(@"^(?<type>[A-Z][A-Za-z]{1,63})(/(?<id>[A-Za-z0-9\-.]{1,64}))?/?$")]
    private static partial Regex Address();
}
