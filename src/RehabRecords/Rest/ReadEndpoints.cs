using RehabRecords.Fhir;

namespace RehabRecords.Rest;

/// <summary>read, vread, history of one resource, search.</summary>
internal static class ReadEndpoints
{
    public static async Task<IResult> ReadAsync(Call call)
    {
        call.RefuseOtherQueryThan();
        try
        {
            return new ReadResult(call, await call.Need<Reads>().CurrentAsync(call.Type, call.Id, call.Ct));
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
        call.RefuseOtherQueryThan();
        var version = (string)call.Http.Request.RouteValues["version"]!;
        return new ReadResult(call, await call.Need<Reads>().VersionAsync(call.Type, call.Id, version, call.Ct));
    }

    public static async Task<IResult> HistoryAsync(Call call)
    {
        call.RefuseOtherQueryThan(Reads.HistoryParameters);
        return new BodyResult(call, await call.Need<Reads>().HistoryAsync(call.Type, call.Id, call.Query(), call.Ct));
    }

    public static async Task<IResult> SearchAsync(Call call) =>
        new BodyResult(call, await call.Need<Searches>().PageAsync(call.Type, call.Query(), call.Prefer.Lenient, call.Ct));

    public static async Task<IResult> SearchByPostAsync(Call call)
    {
        if (!call.Http.Request.HasFormContentType || call.Http.Request.ContentType!.StartsWith("multipart", StringComparison.OrdinalIgnoreCase))
            throw new RefusedException(Refusal.UnknownFormat, Hl7.Fhir.Model.OperationOutcome.IssueType.NotSupported,
                $"Content-Type '{call.Http.Request.ContentType}' is not read here. Send the parameters as application/x-www-form-urlencoded.");
        var form = await call.Http.Request.ReadFormAsync(call.Ct);
        return new BodyResult(call, await call.Need<Searches>().PageAsync(call.Type, [.. call.Query(), .. Call.Pairs(form)], call.Prefer.Lenient, call.Ct));
    }
}
