using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest;

/// <summary>create, update, delete.</summary>
internal static class WriteEndpoints
{
    public static async Task<IResult> CreateAsync(Call call)
    {
        call.RefuseOtherQueryThan();
        var body = await call.ReadBodyAsync(call.Type);
        var condition = call.Http.Request.Headers["If-None-Exist"].ToString();
        var (effect, version) = await call.Need<Transaction>().OneAsync(new Change(ChangeKind.Create, call.Type, null, body, null, condition), call.Ct);
        return effect == Effect.Found
            ? new WrittenResult(call, StatusCodes.Status200OK, version!, "already holds that identifier; nothing was stored")
            : new WrittenResult(call, StatusCodes.Status201Created, version!, "was created");
    }

    public static async Task<IResult> UpdateAsync(Call call)
    {
        call.RefuseOtherQueryThan();
        var body = await call.ReadBodyAsync(call.Type);
        var change = new Change(ChangeKind.Update, call.Type, call.Id, body, call.Http.Request.Headers.IfMatch.ToString());
        var (_, version) = await ChangeAsync(call, change);
        return new WrittenResult(call, StatusCodes.Status200OK, version!, "was stored");
    }

    public static async Task<IResult> DeleteAsync(Call call)
    {
        call.RefuseOtherQueryThan();
        var change = new Change(ChangeKind.Delete, call.Type, call.Id, null, call.Http.Request.Headers.IfMatch.ToString());
        var (_, version) = await ChangeAsync(call, change);
        if (version is not null)
            call.Http.Response.Headers.ETag = VersionTag.Of(version.Version);
        return Results.NoContent();
    }

    /// <summary>Tells a caller who was refused which version is the current one.</summary>
    public static async Task LabelWithCurrentAsync(Call call)
    {
        if (await call.Need<RecordStore>().ReadAsync(call.Type, call.Id, call.Ct) is { } current)
            call.Http.Response.Headers.ETag = VersionTag.Of(current.Version);
    }

    private static async Task<Changed> ChangeAsync(Call call, Change change)
    {
        try
        {
            return await call.Need<Transaction>().OneAsync(change, call.Ct);
        }
        catch (RefusedException refused) when (refused.Refusal is Refusal.StaleVersion or Refusal.VersionNotNamed)
        {
            await LabelWithCurrentAsync(call);
            throw;
        }
    }
}
