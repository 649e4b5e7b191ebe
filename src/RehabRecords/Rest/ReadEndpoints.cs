using RehabRecords.Fhir;
using RehabRecords.Host;

namespace RehabRecords.Rest;

/// <summary>read, vread, history at its three levels, search.</summary>
internal static class ReadEndpoints
{
    public static async Task<IResult> ReadAsync(Call call)
    {
        call.RefuseOtherQueryThan(Shown.Parameters);
        var shown = Shown.OfOne(call.Type, call.Query(), call.Prefer.Lenient);
        try
        {
            return new ReadResult(call, await call.Need<Reads>().CurrentAsync(call.Type, call.Id, call.Ct), shown);
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.Gone)
        {
            // Whoever wants to bring the resource back must name the version that is its deletion.
            await WriteEndpoints.LabelWithCurrentAsync(call);
            throw;
        }
    }

    public static async Task<IResult> VersionAsync(Call call)
    {
        call.RefuseOtherQueryThan(Shown.Parameters);
        var shown = Shown.OfOne(call.Type, call.Query(), call.Prefer.Lenient);
        var version = (string)call.Http.Request.RouteValues["version"]!;
        return new ReadResult(call, await call.Need<Reads>().VersionAsync(call.Type, call.Id, version, call.Ct), shown);
    }

    /// <summary>The history of a resource, of a type, or of everything: whatever the route names.</summary>
    public static async Task<IResult> HistoryAsync(Call call)
    {
        call.RefuseOtherQueryThan(Histories.Parameters);
        var id = call.Http.Request.RouteValues.ContainsKey("id") ? call.Id : null;
        return new BodyResult(call, await call.Need<Histories>().PageAsync(call.Type.Length == 0 ? null : call.Type, id, call.Query(), call.Prefer.Lenient, call.Ct));
    }

    public static async Task<IResult> SearchAsync(Call call) =>
        new BodyResult(call, await call.Need<Searches>().PageAsync(call.Type, call.Query(), call.Prefer.Lenient, call.Ct));

    public static async Task<IResult> SearchAcrossAsync(Call call) =>
        new BodyResult(call, await call.Need<Searches>().PageAcrossAsync(call.Query(), call.Prefer.Lenient, call.Ct));

    public static async Task<IResult> SearchAcrossByPostAsync(Call call) =>
        new BodyResult(call, await call.Need<Searches>().PageAcrossAsync(await FormAsync(call), call.Prefer.Lenient, call.Ct));

    public static async Task<IResult> SearchInRecordAsync(Call call) => new BodyResult(
        call, await call.Need<Searches>().PageInRecordAsync(call.Id, (string)call.Http.Request.RouteValues["type"]!, call.Query(), call.Prefer.Lenient, call.Ct));

    public static async Task<IResult> SearchByPostAsync(Call call) =>
        new BodyResult(call, await call.Need<Searches>().PageAsync(call.Type, await FormAsync(call), call.Prefer.Lenient, call.Ct));

    /// <summary>The parameters of a search by POST: those of the form and those of the address.</summary>
    public static async Task<List<KeyValuePair<string, string>>> FormAsync(Call call)
    {
        if (!call.Http.Request.HasFormContentType || call.Http.Request.ContentType!.StartsWith("multipart", StringComparison.OrdinalIgnoreCase))
            throw new RefusedException(Refusal.UnknownFormat, Hl7.Fhir.Model.OperationOutcome.IssueType.NotSupported,
                $"Content-Type '{call.Http.Request.ContentType}' is not read here. Send the parameters as application/x-www-form-urlencoded.");
        var form = await FormBody.ReadAsync(call.Http.Request, "Send the parameters as application/x-www-form-urlencoded in UTF-8.", call.Ct);
        return [.. call.Query(), .. Call.Pairs(form)];
    }
}
