using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Patch;
using RehabRecords.Host;

namespace RehabRecords.Rest;

/// <summary>One call of the FHIR face: what is wanted, of which type, in which format and with which preferences.</summary>
internal sealed class Call
{
    // Reading a large body takes tens of times its size in memory, so few are read at once.
    private const int LargeBody = 100_000;
    private static readonly SemaphoreSlim LargeBodies = new(Environment.ProcessorCount);
    private static readonly string[] AlwaysAllowed = ["_format", "_pretty"];

    public Call(HttpContext http, string type)
    {
        Http = http;
        Type = type;
        Format = Negotiation.Wanted(http.Request);
        Prefer = Preferences.Of(http.Request);
        Settings = Need<Settings>();
    }

    public HttpContext Http { get; }

    /// <summary>The resource type of the route; empty at the base.</summary>
    public string Type { get; }

    /// <summary>The id of the route; refused when no resource can have it.</summary>
    public string Id
    {
        get
        {
            var id = (string?)Http.Request.RouteValues["id"] ?? "";
            return IsId(id) ? id : throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Value,
                $"'{id}' cannot be an id: 1 to 64 letters, digits, '-' and '.' are allowed.");
        }
    }

    public AnswerFormat Format { get; }

    public Preferences Prefer { get; }

    public Settings Settings { get; }

    public CancellationToken Ct => Http.RequestAborted;

    public T Need<T>()
        where T : notnull => Http.RequestServices.GetRequiredService<T>();

    /// <summary>The parameters of the query, less those about the format of the answer.</summary>
    public List<KeyValuePair<string, string>> Query() => Pairs(QueryHelpers.ParseQuery(Http.Request.QueryString.Value));

    public static List<KeyValuePair<string, string>> Pairs(IEnumerable<KeyValuePair<string, Microsoft.Extensions.Primitives.StringValues>> given) =>
        [.. from parameter in given
            where !AlwaysAllowed.Contains(parameter.Key, StringComparer.Ordinal)
            from value in parameter.Value
            select KeyValuePair.Create(parameter.Key, value ?? "")];

    public void RefuseOtherQueryThan(params string[] known)
    {
        if (!Prefer.Lenient)
            RefuseOther(Query(), known);
    }

    /// <summary>A misspelt parameter would otherwise be answered as if it had not been given.</summary>
    public static void RefuseOther(List<KeyValuePair<string, string>> query, string[] known)
    {
        if (query.Find(q => !known.Contains(q.Key, StringComparer.Ordinal)) is { Key: { } unknown })
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.NotSupported,
                $"Parameter '{unknown}' is not offered here{(known.Length == 0 ? "" : $"; offered: {string.Join(", ", known)}")}. Leave it out, or send Prefer: handling=lenient to have it ignored.");
    }

    /// <summary>Reads the body as one resource, of <paramref name="type"/> if one is named.</summary>
    public async Task<Resource> ReadBodyAsync(string? type = null)
    {
        var format = Negotiation.Sent(Http.Request);
        var resource = await ParseAsync(await ReadBytesAsync(), format);
        if (type is not null && resource.TypeName != type)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid,
                $"The address names {type}, the body is a {resource.TypeName}. Send it to /fhir/{resource.TypeName}.", resource.TypeName);
        return resource;
    }

    /// <summary>Reads the body as a patch, in any of the forms that are read.</summary>
    public async Task<ResourcePatch> ReadPatchAsync()
    {
        // Kept when the body is refused for its type.
        Http.Response.Headers["Accept-Patch"] = $"{ResourcePatch.JsonPatchType}, {Negotiation.Json}, {Negotiation.Xml}";
        return Negotiation.IsJsonPatch(Http.Request) ? ResourcePatch.OfJson(await ReadBytesAsync()) : ResourcePatch.Of(await ReadBodyAsync(), "");
    }

    public string Absolute(string address) => $"{Settings.FhirBase}/{address}";

    public static bool IsId(string id) => id.Length is > 0 and <= 64 && id.All(c => char.IsAsciiLetterOrDigit(c) || c is '-' or '.');

    private async Task<ReadOnlyMemory<byte>> ReadBytesAsync()
    {
        var limit = (int)(Http.Features.Get<IHttpMaxRequestBodySizeFeature>()?.MaxRequestBodySize ?? Settings.Limits.BodyBytes);
        using var buffer = new MemoryStream((int)Math.Clamp(Http.Request.ContentLength ?? 4096, 0, limit));
        await Http.Request.Body.CopyToAsync(buffer, Ct);
        return buffer.GetBuffer().AsMemory(0, (int)buffer.Length);
    }

    private async Task<Resource> ParseAsync(ReadOnlyMemory<byte> body, FhirFormat format)
    {
        if (body.Length <= LargeBody)
            return ResourceReader.Read(body, format);
        await LargeBodies.WaitAsync(Ct);
        try
        {
            return ResourceReader.Read(body, format);
        }
        finally
        {
            LargeBodies.Release();
        }
    }
}
