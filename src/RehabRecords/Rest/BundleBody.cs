using System.Buffers;
using System.Text.Encodings.Web;
using System.Text.Json;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest;

/// <summary>Writes a Bundle around stored bytes, without reading them.</summary>
internal sealed class BundleBody : IDisposable
{
    private static readonly JsonWriterOptions Options = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping, SkipValidation = true };

    private readonly ArrayBufferWriter<byte> _bytes = new(4096);
    private readonly Utf8JsonWriter _json;
    private readonly string _fhirBase;
    private bool _hasEntries;

    public BundleBody(string fhirBase, string type, long? total = null, params (string Relation, string Url)[] links)
    {
        _fhirBase = fhirBase;
        _json = new Utf8JsonWriter(_bytes, Options);
        _json.WriteStartObject();
        _json.WriteString("resourceType", "Bundle");
        _json.WriteString("type", type);
        if (total is not null)
            _json.WriteNumber("total", total.Value);
        if (links.Length == 0)
            return;
        _json.WriteStartArray("link");
        foreach (var (relation, url) in links)
        {
            _json.WriteStartObject();
            _json.WriteString("relation", relation);
            _json.WriteString("url", url);
            _json.WriteEndObject();
        }
        _json.WriteEndArray();
    }

    /// <param name="json">What is shown of it.</param>
    public void Found(RecordVersion version, ReadOnlyMemory<byte> json, string mode)
    {
        StartEntry();
        FullUrl(version);
        Resource(json);
        _json.WriteStartObject("search");
        _json.WriteString("mode", mode);
        _json.WriteEndObject();
        _json.WriteEndObject();
    }

    /// <param name="json">What is shown of it.</param>
    public void Past(RecordVersion version, ReadOnlyMemory<byte> json)
    {
        StartEntry();
        FullUrl(version);
        if (!version.Deleted)
            Resource(json);
        var (method, url, status) = version switch
        {
            { Deleted: true } => ("DELETE", version.Address, "204 No Content"),
            { Version: 1 } => ("POST", version.Type, "201 Created"),
            _ => ("PUT", version.Address, "200 OK"),
        };
        _json.WriteStartObject("request");
        _json.WriteString("method", method);
        _json.WriteString("url", url);
        _json.WriteEndObject();
        Response(status, version, location: false, outcome: default);
        _json.WriteEndObject();
    }

    /// <summary>What one entry of a batch or transaction came to.</summary>
    public void Answered(string status, RecordVersion? version, bool location, ReadOnlyMemory<byte> resource, ReadOnlyMemory<byte> outcome)
    {
        StartEntry();
        if (!resource.IsEmpty)
        {
            if (version is not null)
                FullUrl(version);
            Resource(resource);
        }
        Response(status, version, location, outcome);
        _json.WriteEndObject();
    }

    public ReadOnlyMemory<byte> End()
    {
        if (_hasEntries)
            _json.WriteEndArray();
        _json.WriteEndObject();
        _json.Flush();
        return _bytes.WrittenMemory;
    }

    public void Dispose() => _json.Dispose();

    private void Response(string status, RecordVersion? version, bool location, ReadOnlyMemory<byte> outcome)
    {
        _json.WriteStartObject("response");
        _json.WriteString("status", status);
        if (version is not null)
        {
            if (location)
                _json.WriteString("location", $"{_fhirBase}/{version.VersionedAddress}");
            _json.WriteString("etag", VersionTag.Of(version.Version));
            _json.WriteString("lastModified", version.LastUpdated.ToUniversalTime().ToString("yyyy-MM-dd'T'HH:mm:ss.fff'Z'"));
        }
        if (!outcome.IsEmpty)
        {
            _json.WritePropertyName("outcome");
            _json.WriteRawValue(outcome.Span, skipInputValidation: true);
        }
        _json.WriteEndObject();
    }

    private void StartEntry()
    {
        // An empty array is not allowed in FHIR, so the list begins with its first entry.
        if (!_hasEntries)
            _json.WriteStartArray("entry");
        _hasEntries = true;
        _json.WriteStartObject();
    }

    private void FullUrl(RecordVersion version) => _json.WriteString("fullUrl", $"{_fhirBase}/{version.Address}");

    private void Resource(ReadOnlyMemory<byte> json)
    {
        _json.WritePropertyName("resource");
        _json.WriteRawValue(json.Span, skipInputValidation: true);
    }
}
