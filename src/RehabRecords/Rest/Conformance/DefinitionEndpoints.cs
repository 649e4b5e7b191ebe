using System.Globalization;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest.Conformance;

/// <summary>read and search of definitions.</summary>
internal static class DefinitionEndpoints
{
    public static Task<IResult> ReadAsync(Call call)
    {
        call.RefuseOtherQueryThan(Shown.Parameters);
        var shown = Shown.OfOne(call.Type, call.Query(), call.Prefer.Lenient);
        var published = call.Need<DefinitionSearch>().Published;
        return Task.FromResult<IResult>(published.Find(call.Type, call.Id) is { } found
            ? new BodyResult(call, shown.Of(published.Read(found)))
            : throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound,
                $"There is no {call.Type}/{call.Id}. GET /fhir/{call.Type}?url=... finds a definition by its address."));
    }

    public static Task<IResult> SearchAsync(Call call) => Task.FromResult<IResult>(Page(call, call.Query()));

    public static async Task<IResult> SearchByPostAsync(Call call) =>
        Page(call, await ReadEndpoints.FormAsync(call));

    private static BodyResult Page(Call call, IReadOnlyList<KeyValuePair<string, string>> pairs)
    {
        var search = call.Need<DefinitionSearch>();
        var shown = Shown.Of(call.Type, pairs, call.Prefer.Lenient);
        var page = search.Page(call.Type, pairs, call.Prefer.Lenient);
        var address = call.Absolute(call.Type);
        var used = page.Used.Select(u => KeyValuePair.Create(u.Key, (string?)u.Value)).ToList();
        var links = new List<(string, string)> { ("self", QueryHelpers.AddQueryString(address, used)) };
        if (page.Next is { } next)
            links.Add(("next", QueryHelpers.AddQueryString(address, used.Append(new(DefinitionSearch.CursorName, next.ToString(CultureInfo.InvariantCulture))))));
        using var bundle = new BundleBody(call.Settings.FhirBase, "searchset", page.Total, [.. links]);
        foreach (var found in page.Found)
            bundle.Found(new RecordVersion(0, found.Type, found.Id, 1, Deleted: false, default, default), shown.Of(search.Published.Read(found)), "match");
        return new BodyResult(call, bundle.End());
    }
}
