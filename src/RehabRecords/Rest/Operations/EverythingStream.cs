using System.Buffers;
using System.Text.Encodings.Web;
using System.Text.Json;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest.Operations;

/// <summary>A record of any length as one searchset Bundle, written while it is read: memory does not grow with it.</summary>
internal sealed class EverythingStream(Call call, IAsyncEnumerable<RecordVersion> matches, PatientEverything.Wanted wanted) : IResult
{
    private const int FlushAt = 64 * 1024;
    private static readonly JsonWriterOptions Options = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping, SkipValidation = true };

    public async Task ExecuteAsync(HttpContext httpContext)
    {
        httpContext.Response.ContentType = call.Format.MediaType + "; charset=utf-8";
        httpContext.Response.Headers.Vary = "Accept";
        if (HttpMethods.IsHead(httpContext.Request.Method))
            return;
        // What is put into the body's own buffer can never be taken back: a failure before the first piece was sent is to be an answer of its own.
        var piece = new ArrayBufferWriter<byte>(2 * FlushAt);
        await using var json = new Utf8JsonWriter(piece, Options);
        json.WriteStartObject();
        json.WriteString("resourceType", "Bundle");
        json.WriteString("type", "searchset");
        json.WriteStartArray("link");
        json.WriteStartObject();
        json.WriteString("relation", "self");
        json.WriteString("url", wanted.Link(call, wanted.After));
        json.WriteEndObject();
        json.WriteEndArray();

        var around = new Surroundings(call.Need<RecordStore>(), call.Need<ResourceRegistry>(), wanted.Types);
        var any = false;
        await foreach (var match in matches.WithCancellation(call.Ct))
        {
            around.Saw(match);
            await WriteAsync(match, "match");
        }

        await foreach (var included in around.ReadAsync(call.Need<Calling>().Caller, call.Ct))
            await WriteAsync(included, "include");
        if (any)
            json.WriteEndArray();
        json.WriteEndObject();
        await SendAsync();

        async Task WriteAsync(RecordVersion version, string mode)
        {
            // An empty array is not allowed in FHIR, so the list begins with its first entry.
            if (!any)
                json.WriteStartArray("entry");
            any = true;
            json.WriteStartObject();
            json.WriteString("fullUrl", call.Absolute(version.Address));
            json.WritePropertyName("resource");
            json.WriteRawValue(version.Json.Span, skipInputValidation: true);
            json.WriteStartObject("search");
            json.WriteString("mode", mode);
            json.WriteEndObject();
            json.WriteEndObject();
            if (json.BytesPending + piece.WrittenCount >= FlushAt)
                await SendAsync();
        }

        async Task SendAsync()
        {
            json.Flush();
            await httpContext.Response.BodyWriter.WriteAsync(piece.WrittenMemory, call.Ct);
            piece.ResetWrittenCount();
        }
    }
}
