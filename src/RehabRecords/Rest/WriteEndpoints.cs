using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest;

/// <summary>create, update, patch, delete; the last three of what the route names, or of what a condition finds.</summary>
internal static class WriteEndpoints
{
    public const string Created = "was created";
    public const string Found = "already holds that identifier; nothing was stored";
    public const string Stored = "was stored";
    public const string Unchanged = "is as the patch would make it; nothing was stored";
    public const string Deleted = "is the deletion";

    public static async Task<IResult> CreateAsync(Call call)
    {
        call.RefuseOtherQueryThan();
        var body = await call.ReadBodyAsync(call.Type);
        var condition = call.Http.Request.Headers["If-None-Exist"].ToString();
        var change = new Change(ChangeKind.Create, call.Type, null, body, null, condition);
        await ResourceAccess.RequireAsync(call.Need<Calling>(), call.Need<RecordStore>(), change, call.Ct);
        var (effect, version) = await call.Need<Transaction>().OneAsync(change, call.Ct);
        return effect == Effect.Found
            ? new WrittenResult(call, StatusCodes.Status200OK, version!, Found)
            : new WrittenResult(call, StatusCodes.Status201Created, version!, Created);
    }

    public static async Task<IResult> UpdateAsync(Call call)
    {
        var (id, condition) = Named(call);
        var body = await call.ReadBodyAsync(call.Type);
        var (effect, version) = await ChangeAsync(call, new Change(ChangeKind.Update, call.Type, id, body, IfMatch(call)) { Condition = condition });
        return effect == Effect.Created
            ? new WrittenResult(call, StatusCodes.Status201Created, version!, Created)
            : new WrittenResult(call, StatusCodes.Status200OK, version!, Stored);
    }

    public static async Task<IResult> PatchAsync(Call call)
    {
        var (id, condition) = Named(call);
        var patch = await call.ReadPatchAsync();
        var (effect, version) = await ChangeAsync(call, new Change(ChangeKind.Patch, call.Type, id, null, IfMatch(call)) { Condition = condition, Patch = patch });
        return new WrittenResult(call, StatusCodes.Status200OK, version!, effect == Effect.Unchanged ? Unchanged : Stored);
    }

    public static async Task<IResult> DeleteAsync(Call call)
    {
        var (id, condition) = Named(call);
        var (_, version) = await ChangeAsync(call, new Change(ChangeKind.Delete, call.Type, id, null, IfMatch(call)) { Condition = condition });
        if (version is not null)
            call.Http.Response.Headers.ETag = VersionTag.Of(version.Version);
        return call.Prefer.Return == Return.Outcome
            ? new OutcomeResult(StatusCodes.Status200OK, [WrittenResult.Said(version, Deleted)])
            : Results.NoContent();
    }

    /// <summary>Tells a caller who was refused which version is the current one.</summary>
    public static async Task LabelWithCurrentAsync(Call call)
    {
        if (await call.Need<RecordStore>().ReadAsync(call.Type, call.Id, call.Ct) is { } current)
            call.Http.Response.Headers.ETag = VersionTag.Of(current.Version);
    }

    /// <summary>What is to be changed: by the id in the route, or by the search in the query.</summary>
    private static (string? Id, string? Condition) Named(Call call)
    {
        if (call.Http.Request.RouteValues.ContainsKey("id"))
        {
            call.RefuseOtherQueryThan();
            return (call.Id, null);
        }
        var condition = call.Query().Where(q => q.Value.Length > 0).Select(q => $"{Uri.EscapeDataString(q.Key)}={Uri.EscapeDataString(q.Value)}").ToList();
        return condition.Count > 0
            ? (null, string.Join('&', condition))
            : throw new RefusedException(Refusal.NotAllowed, OperationOutcome.IssueType.NotSupported,
                $"{call.Http.Request.Method} is not offered for all of {call.Type} at once. Name one by /{call.Type}/<id>, or by a condition such as /{call.Type}?identifier=<system>|<value>.");
    }

    private static string IfMatch(Call call) => call.Http.Request.Headers.IfMatch.ToString();

    private static async Task<Changed> ChangeAsync(Call call, Change change)
    {
        await ResourceAccess.RequireAsync(call.Need<Calling>(), call.Need<RecordStore>(), change, call.Ct);
        try
        {
            return await call.Need<Transaction>().OneAsync(change, call.Ct);
        }
        catch (RefusedException refused) when (refused.Refusal is Refusal.StaleVersion or Refusal.VersionNotNamed or Refusal.Gone)
        {
            if (refused.CurrentVersion is { } version)
                call.Http.Response.Headers.ETag = VersionTag.Of(version);
            else if (change.Id is not null)
                await LabelWithCurrentAsync(call);
            throw;
        }
    }
}
