using Hl7.Fhir.Model;
using Microsoft.Net.Http.Headers;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest;

/// <summary>Bytes of FHIR JSON as the answer, in the format the caller wants.</summary>
internal sealed class BodyResult(Call call, ReadOnlyMemory<byte> json, int status = 200) : IResult
{
    public Task ExecuteAsync(HttpContext httpContext)
    {
        httpContext.Response.StatusCode = status;
        return call.Format.SendAsync(httpContext, call.Format.Write(json));
    }
}

/// <summary>A version that was read: its bytes, or "not modified" to a caller who has it already.</summary>
internal sealed class ReadResult(Call call, RecordVersion version, Shown shown) : IResult
{
    public Task ExecuteAsync(HttpContext httpContext)
    {
        Label(httpContext.Response, version);
        if (!Known.Is(version, httpContext.Request))
            return new BodyResult(call, shown.Of(version.Json)).ExecuteAsync(httpContext);
        httpContext.Response.StatusCode = StatusCodes.Status304NotModified;
        return Task.CompletedTask;
    }

    public static void Label(HttpResponse response, RecordVersion version)
    {
        response.Headers.ETag = VersionTag.Of(version.Version);
        response.Headers.LastModified = HeaderUtilities.FormatDate(version.LastUpdated);
    }
}

/// <summary>Whether a caller has a version already, by what it says of the ones it has.</summary>
internal static class Known
{
    public static bool Is(RecordVersion version, HttpRequest request) => Is(
        version,
        request.Headers.IfNoneMatch.Count > 0 ? request.Headers.IfNoneMatch.ToString() : null,
        HeaderUtilities.TryParseDate(request.Headers.IfModifiedSince.ToString(), out var since) ? since : null);

    public static bool Is(RecordVersion version, string? ifNoneMatch, DateTimeOffset? ifModifiedSince)
    {
        // Where tags are given, the time says nothing more (RFC 9110).
        if (!string.IsNullOrWhiteSpace(ifNoneMatch))
            return ifNoneMatch.Split(',').Any(tag => tag.Trim() == "*" || VersionTag.Read(tag) == version.Version);
        // The header counts in whole seconds, so the version is compared in whole seconds too.
        return ifModifiedSince is { } since && version.LastUpdated.ToUnixTimeSeconds() <= since.ToUnixTimeSeconds();
    }
}

/// <summary>A version that was written or found by a write, with as much of it as the caller prefers.</summary>
internal sealed class WrittenResult(Call call, int status, RecordVersion version, string said) : IResult
{
    public Task ExecuteAsync(HttpContext httpContext)
    {
        ReadResult.Label(httpContext.Response, version);
        httpContext.Response.Headers.Location = call.Absolute(version.VersionedAddress);
        switch (call.Prefer.Return)
        {
            case Return.Minimal:
                httpContext.Response.StatusCode = status;
                return Task.CompletedTask;
            case Return.Outcome:
                return OutcomeResult.WriteAsync(httpContext, status, [Said(version, said)]);
            default:
                return new BodyResult(call, version.Json, status).ExecuteAsync(httpContext);
        }
    }

    /// <param name="version">Null when there was nothing to say it of.</param>
    public static Issue Said(RecordVersion? version, string said) => new(
        OperationOutcome.IssueSeverity.Information, OperationOutcome.IssueType.Informational, version is null ? "There was nothing to delete." : $"{version.VersionedAddress} {said}.");
}
