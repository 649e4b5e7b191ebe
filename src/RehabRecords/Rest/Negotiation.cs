using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using Microsoft.Net.Http.Headers;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Patch;

namespace RehabRecords.Rest;

/// <summary>The format of one answer, with the media type in the words the caller used for it.</summary>
internal readonly record struct AnswerFormat(FhirFormat Format, string MediaType, bool Pretty)
{
    public byte[] Write(Resource resource) =>
        Format == FhirFormat.Json ? ResourceWriter.Json(resource, Pretty) : ResourceWriter.Xml(resource, Pretty);

    /// <summary>A stored resource: its bytes as they are, unless the caller wants them otherwise.</summary>
    public ReadOnlyMemory<byte> Write(ReadOnlyMemory<byte> stored) =>
        Format == FhirFormat.Json && !Pretty ? stored : Write(ResourceReader.Trusted<Resource>(stored));

    public async Task SendAsync(HttpContext context, ReadOnlyMemory<byte> body)
    {
        context.Response.ContentType = MediaType + "; charset=utf-8";
        context.Response.ContentLength = body.Length;
        context.Response.Headers.Vary = HeaderNames.Accept;
        if (!HttpMethods.IsHead(context.Request.Method))
            await context.Response.Body.WriteAsync(body, context.RequestAborted);
    }
}

/// <summary>Which format a caller sends and wants: media types, <c>_format</c>, <c>_pretty</c> and the fhirVersion parameter.</summary>
internal static class Negotiation
{
    public const string Json = "application/fhir+json";
    public const string Xml = "application/fhir+xml";
    private const string Offered = $"Offered: {Json} and {Xml}, FHIR version 4.0.";

    private static readonly Dictionary<string, FhirFormat> MediaTypes = new(StringComparer.OrdinalIgnoreCase)
    {
        [Json] = FhirFormat.Json,
        ["application/json"] = FhirFormat.Json,
        ["text/json"] = FhirFormat.Json,
        [Xml] = FhirFormat.Xml,
        ["application/xml"] = FhirFormat.Xml,
        ["text/xml"] = FhirFormat.Xml,
    };

    /// <summary>The format wanted; refuses what cannot be served.</summary>
    public static AnswerFormat Wanted(HttpRequest request) => Find(request, out var refusal) ?? throw refusal!;

    /// <summary>For errors, which must be answered in any case.</summary>
    public static AnswerFormat OrJson(HttpRequest request) => Find(request, out _) ?? new AnswerFormat(FhirFormat.Json, Json, Pretty: false);

    /// <summary>The format of the body sent; refuses what is not read.</summary>
    public static FhirFormat Sent(HttpRequest request)
    {
        RequireUncompressed(request);
        if (!MediaTypeHeaderValue.TryParse(request.ContentType, out var sent) || !MediaTypes.TryGetValue(sent.MediaType.ToString(), out var format))
            throw Unread($"Content-Type '{request.ContentType}' is not read here. Send {Json} or {Xml}.");
        RequireUtf8(sent);
        if (!IsOurVersion(sent))
            throw Unread($"Content-Type '{request.ContentType}' names another version of FHIR; this service speaks 4.0.");
        return format;
    }

    /// <summary>Whether the body sent is a JSON Patch.</summary>
    public static bool IsJsonPatch(HttpRequest request)
    {
        if (!MediaTypeHeaderValue.TryParse(request.ContentType, out var sent) || !sent.MediaType.Equals(ResourcePatch.JsonPatchType, StringComparison.OrdinalIgnoreCase))
            return false;
        RequireUncompressed(request);
        RequireUtf8(sent);
        return true;
    }

    private static void RequireUncompressed(HttpRequest request)
    {
        if (request.Headers.ContentEncoding.Count > 0)
            throw Unread($"Content-Encoding '{request.Headers.ContentEncoding}' is not read; send the body uncompressed.");
    }

    private static void RequireUtf8(MediaTypeHeaderValue sent)
    {
        if (sent.Charset.HasValue && !sent.Charset.Value.Trim('"').Equals("utf-8", StringComparison.OrdinalIgnoreCase))
            throw Unread($"Character set '{sent.Charset}' is not read; FHIR is sent in UTF-8.");
    }

    private static AnswerFormat? Find(HttpRequest request, out RefusedException? refusal)
    {
        refusal = null;
        var query = QueryHelpers.ParseQuery(request.QueryString.Value);
        var pretty = query.TryGetValue("_pretty", out var given) && given == "true";
        if (query.TryGetValue("_format", out var format) && !string.IsNullOrEmpty(format))
        {
            // A plus sign in a query is a space unless it was escaped, and it seldom is.
            var name = format.ToString().Replace(' ', '+');
            if (name == "json" || name == "xml")
                return name == "json" ? new(FhirFormat.Json, Json, pretty) : new(FhirFormat.Xml, Xml, pretty);
            if (MediaTypeHeaderValue.TryParse(name, out var named) && MediaTypes.TryGetValue(named.MediaType.ToString(), out var kind) && IsOurVersion(named))
                return new(kind, kind == FhirFormat.Json ? Json : Xml, pretty);
            refusal = NotOffered($"_format '{name}' is not offered. Use json or xml.");
            return null;
        }
        if (request.Headers.Accept.Count == 0)
            return new(FhirFormat.Json, Json, pretty);
        if (!MediaTypeHeaderValue.TryParseList(request.Headers.Accept, out var wanted))
        {
            refusal = NotOffered($"The Accept header '{request.Headers.Accept}' is not readable. {Offered}");
            return null;
        }
        // Best quality first; among equals the order of the caller.
        foreach (var candidate in wanted.Where(w => w.Quality is not 0).OrderByDescending(w => w.Quality ?? 1))
        {
            if (!IsOurVersion(candidate))
                continue;
            if (candidate.MatchesAllTypes || candidate.MediaType.Equals("application/*", StringComparison.OrdinalIgnoreCase))
                return new(FhirFormat.Json, Json, pretty);
            if (MediaTypes.TryGetValue(candidate.MediaType.ToString(), out var kind))
                return new(kind, candidate.MediaType.ToString().ToLowerInvariant() + VersionOf(candidate), pretty);
        }
        refusal = NotOffered($"None of the types in Accept '{request.Headers.Accept}' is offered. {Offered}");
        return null;
    }

    private static bool IsOurVersion(MediaTypeHeaderValue type) =>
        Version(type) is null or "4.0" or "4.0.1";

    private static string VersionOf(MediaTypeHeaderValue type) => Version(type) is null ? "" : "; fhirVersion=4.0";

    private static string? Version(MediaTypeHeaderValue type) =>
        type.Parameters.FirstOrDefault(p => p.Name.Equals("fhirVersion", StringComparison.OrdinalIgnoreCase))?.Value.ToString().Trim('"');

    private static RefusedException Unread(string message) => new(Refusal.UnknownFormat, OperationOutcome.IssueType.NotSupported, message);

    private static RefusedException NotOffered(string message) => new(Refusal.FormatNotOffered, OperationOutcome.IssueType.NotSupported, message);
}
