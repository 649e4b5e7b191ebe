using System.Net.Sockets;
using System.Text;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;

namespace RehabRecords.Fuzz;

/// <summary>A request as it is kept aside: method, path, headers and body, to be sent and to be sent again.</summary>
internal sealed record Request(string Method, string Path, List<(string Name, string Value)> Headers, byte[] Body)
{
    public byte[] ToBytes()
    {
        var head = new StringBuilder($"{Method} {Path} HTTP/1.1\r\nHost: localhost\r\n");
        foreach (var (name, value) in Headers)
            head.Append($"{name}: {value}\r\n");
        return [.. Encoding.Latin1.GetBytes(head.Append($"Content-Length: {Body.Length}\r\nConnection: close\r\n\r\n").ToString()), .. Body];
    }
}

/// <summary>
/// Requests to the running service, written to a socket byte by byte, so that no client puts right what is wrong with them.
/// Any answer is well but one of 500 and above; so is being cut off after a request that is none. What the service told of as an error
/// counts as well, for the case in which it was told or the next.
/// </summary>
internal abstract class RequestTarget(Service service) : Target
{
    private readonly SortedDictionary<string, int> _ends = new(StringComparer.Ordinal);

    protected Service Service { get; } = service;

    public override string Ends => string.Join(", ", _ends.Select(e => $"{e.Key} {e.Value}"));

    /// <summary>Whether a request says its own length, as far as it was not damaged; then the sender stays for the answer.</summary>
    protected virtual bool IsComplete => true;

    protected abstract Request Request(Chance chance);

    public override byte[] Make(Chance chance) => Request(chance).ToBytes();

    public override async Task<string?> RunAsync(byte[] input, Chance chance)
    {
        string answer;
        try
        {
            using var client = new TcpClient();
            await client.ConnectAsync(Service.Address.Host, Service.Address.Port);
            var stream = client.GetStream();
            await stream.WriteAsync(input);
            var answered = FirstLineAsync(stream);
            // A request that is not complete is cut off by the sender, as by one who went away. The service then drops what it was doing.
            if (!IsComplete || await Task.WhenAny(answered, Task.Delay(1000)) != answered)
                client.Client.Shutdown(SocketShutdown.Send);
            answer = await answered;
        }
        catch (Exception e) when (e is SocketException or IOException)
        {
            if (!Service.Runs)
                return "the service ended: " + Service.LastWords;
            answer = "";
        }

        var status = answer.Split(' ').ElementAtOrDefault(1) ?? "none";
        _ends[status] = _ends.GetValueOrDefault(status) + 1;
        if (Service.HasFailed())
            return $"answered {answer}, and told of an error: {Service.LastWords}";

        // 505 is the right answer to another version of HTTP.
        return answer.StartsWith("HTTP/1.1 5", StringComparison.Ordinal) && !answer.StartsWith("HTTP/1.1 505", StringComparison.Ordinal) ? $"answered {answer}; the service said: {Service.LastWords}" : null;
    }

    private static async Task<string> FirstLineAsync(NetworkStream stream)
    {
        var buffer = new byte[16_384];
        var first = "";
        int read;
        while ((read = await stream.ReadAsync(buffer)) > 0)
            if (first.Length < 200)
                first += Encoding.Latin1.GetString(buffer, 0, read);
        return first.Split('\r')[0];
    }

    protected static string Escaped(string text, Chance chance) =>
        chance.OneIn(10) ? new string([.. text.Where(c => c is > ' ' and < '\u007f' and not '#')]) : Uri.EscapeDataString(text.Replace("\ud83e", "", StringComparison.Ordinal));

    protected static (string, string) Header(string name, string value) => (name, new string([.. value.Where(c => c is not ('\r' or '\n' or '\0') and <= '\u00ff')]));
}

/// <summary>Bodies for the FHIR face: create, update, validate, batch, transaction and patch.</summary>
internal sealed class FhirTarget(Service service, Seeds seeds) : RequestTarget(service)
{
    // Most of the official cases are of types that are not served, and get no further than that.
    private readonly List<byte[]> _served = [.. seeds.Json.Where(s => RehabRecords.Fuzz.Service.TypeOf(s) is { } type && service.Existing.Any(e => e.StartsWith(type + "/", StringComparison.Ordinal)))];

    public override string Name => "fhir";

    public override int Weight => 20;

    protected override Request Request(Chance chance)
    {
        var xml = chance.OneIn(4);
        var seed = chance.Of(xml ? seeds.Xml : chance.OneIn(4) ? seeds.Json : _served);
        var body = chance.OneIn(8) ? seed : xml ? Mutations.Bytes(seed, chance, seeds.Xml, Dictionary.Xml) : chance.OneIn(3) ? Mutations.Bytes(seed, chance, seeds.Json, Dictionary.Json) : Mutations.Json(seed, chance, seeds.Json);
        var existing = chance.Of(Service.Existing);
        var type = xml ? existing.Split('/')[0] : RehabRecords.Fuzz.Service.TypeOf(seed) ?? "Patient";
        var media = xml ? "application/fhir+xml" : "application/fhir+json";
        switch (chance.Below(8))
        {
            case 0:
                return new("POST", $"/fhir/{type}", [("Content-Type", media)], body);
            case 1:
                return new("PUT", $"/fhir/{existing}", [("Content-Type", media), ("If-Match", "W/\"1\"")], body);
            case 2:
                return new("POST", "/fhir", [("Content-Type", media)], chance.OneIn(3) ? body : Bundle(chance, type, existing, body));
            case 3:
                return new("PATCH", $"/fhir/{existing}", [("Content-Type", "application/json-patch+json"), ("If-Match", "W/\"1\"")],
                    chance.OneIn(3) ? Mutations.Bytes(chance.Of(seeds.JsonPatches), chance, seeds.JsonPatches, Dictionary.Json) : Mutations.Json(chance.Of(seeds.JsonPatches), chance, seeds.JsonPatches));
            case 4:
                return new("PATCH", $"/fhir/{existing}", [("Content-Type", "application/fhir+json"), ("If-Match", "W/\"1\"")], Mutations.Json(chance.Of(seeds.FhirPatches), chance, seeds.FhirPatches));
            default:
                return new("POST", chance.OneIn(3) ? "/fhir/$validate" : $"/fhir/{type}/$validate", [("Content-Type", media)], body);
        }
    }

    private static byte[] Bundle(Chance chance, string type, string existing, byte[] body)
    {
        var methods = new[] { "POST", "PUT", "GET", "DELETE", "PATCH", "HEAD", "" };
        var entries = Enumerable.Range(0, chance.Between(1, 3)).Select(i =>
        {
            var method = chance.Of(methods);
            var url = chance.Below(4) switch { 0 => type, 1 => existing, 2 => $"{type}?identifier={chance.Of(Dictionary.Texts)}", _ => chance.Of(Dictionary.Texts) };
            return $$$"""{"fullUrl":{{{JsonValue.Create(chance.OneIn(2) ? $"urn:uuid:00000000-0000-0000-0000-00000000000{i}" : chance.Of(Dictionary.Texts)).ToJsonString()}}},"resource":{{{Encoding.UTF8.GetString(body)}}},"request":{"method":"{{{method}}}","url":{{{JsonValue.Create(url).ToJsonString()}}}}}""";
        });
        return Encoding.UTF8.GetBytes($$"""{"resourceType":"Bundle","type":"{{(chance.OneIn(2) ? "transaction" : "batch")}}","entry":[{{string.Join(',', entries)}}]}""");
    }
}

/// <summary>Search strings, histories and operations, by what the CapabilityStatement says there is.</summary>
internal sealed class SearchTarget(Service service) : RequestTarget(service)
{
    private static readonly string[] Controls =
        ["_id", "_lastUpdated", "_count", "_sort", "_include", "_revinclude", "_summary", "_elements", "_total", "_format", "_pretty", "_has", "_since", "_at", "_type", "_page", "_profile", "_tag", "_security", "_list", "_text", "_content", "_filter", "_contained", "_outputFormat"];

    private static readonly string[] Modifiers = ["", "", "", ":exact", ":contains", ":missing", ":not", ":text", ":in", ":below", ":above", ":identifier", ":of-type", ":Patient", ".name", ":Patient.name", ".identifier", ":iterate", ":x", ":"];

    private static readonly string[] Values =
        ["a", "ge2024", "lt2024-01-01", "eq2024-01-01T00:00:00Z", "ap2024", "sa9999", "ne", "5.4|http://unitsofmeasure.org|kg", "lt5", "5.40e-3||g", "http://loinc.org|1234-5", "|x", "x|", "Patient/1", "a,b,c", "a\\,b", "a$b", "true", "1", "0", "-1", "99999999999", "*", "Patient:organization", "*:*", "Observation:subject:Patient", "-date,status", "count", "text", "accurate"];

    private readonly List<(string Type, string[] Parameters)> _types =
        [.. service.Metadata["rest"]![0]!["resource"]!.AsArray().Select(r => (r!["type"]!.GetValue<string>(), (r["searchParam"]?.AsArray() ?? []).Select(p => p!["name"]!.GetValue<string>()).ToArray()))];

    public override string Name => "search";

    public override int Weight => 15;

    protected override Request Request(Chance chance)
    {
        var (type, parameters) = chance.Of(_types);
        var existing = chance.Of(Service.Existing);
        var path = chance.Below(12) switch
        {
            0 => $"/fhir/{existing}/_history",
            1 => $"/fhir/{type}/_history",
            2 => "/fhir/_history",
            3 => $"/fhir/{existing}/{chance.Of(Dictionary.Texts)}",
            4 => $"/fhir/{existing}/{type}",
            5 => $"/fhir/{existing}/$everything",
            6 => $"/fhir/{existing}/$document",
            7 => "/fhir",
            _ => $"/fhir/{type}",
        };
        var query = string.Join('&', Enumerable.Range(0, chance.Between(1, chance.OneIn(20) ? 60 : 4)).Select(_ => Pair(parameters, chance)));
        return chance.OneIn(5)
            ? new("POST", $"/fhir/{type}/_search", [("Content-Type", "application/x-www-form-urlencoded")], Encoding.Latin1.GetBytes(query))
            : new("GET", $"{path}?{query}", [], []);
    }

    private static string Pair(string[] parameters, Chance chance)
    {
        var name = parameters.Length == 0 || chance.OneIn(4) ? chance.Of(Controls) : chance.Of(parameters);
        if (chance.OneIn(15))
            name = $"_has:Observation:subject:{name}";
        if (chance.OneIn(20))
            name = Escaped(chance.Of(Dictionary.Texts), chance);
        var value = chance.Of(chance.OneIn(3) ? Dictionary.Texts : Values);
        if (chance.OneIn(6))
            value = string.Join(chance.OneIn(2) ? "," : "$", Enumerable.Range(0, chance.OneIn(10) ? 500 : 4).Select(_ => chance.Of(Values)));
        if (chance.OneIn(30))
            value = string.Concat(Enumerable.Repeat(value, 200));
        return $"{name}{chance.Of(Modifiers)}={Escaped(value.Length > 4000 ? value[..4000] : value, chance)}";
    }
}

/// <summary>Headers that change what a request means.</summary>
internal sealed class HeaderTarget(Service service, Seeds seeds) : RequestTarget(service)
{
    private static readonly string[] Names =
        ["Accept", "Content-Type", "Prefer", "If-Match", "If-None-Match", "If-None-Exist", "If-Modified-Since", "X-Request-Id", "Idempotency-Key", "Accept-Language", "Accept-Encoding", "Content-Encoding", "Range", "Origin", "X-HTTP-Method-Override", "X-Forwarded-Host", "X-Forwarded-Proto", "Host", "Authorization", "Cookie", "Expect", "Transfer-Encoding", "Date", "traceparent"];

    private static readonly string[] Methods = ["GET", "GET", "GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "X"];

    public override string Name => "headers";

    protected override Request Request(Chance chance)
    {
        var existing = chance.Of(Service.Existing);
        var headers = Enumerable.Range(0, chance.Between(1, 4)).Select(_ => One(chance)).ToList();
        var path = chance.Below(6) switch { 0 => "/fhir/metadata", 1 => $"/fhir/{existing.Split('/')[0]}", 2 => $"/fhir/{existing}/_history/1", 3 => "/api/people", 4 => $"/fhir/{Escaped(chance.Of(Dictionary.Texts), chance)}", _ => $"/fhir/{existing}" };
        return new(chance.Of(Methods), path, headers, chance.OneIn(2) ? [] : chance.Of(seeds.Json));
    }

    private static (string, string) One(Chance chance)
    {
        var name = chance.Of(Names);
        var value = name switch
        {
            _ when chance.OneIn(4) => chance.Of(Dictionary.Texts),
            "Accept" or "Content-Type" => chance.Of(Dictionary.MediaTypes),
            "Prefer" => chance.Of(Dictionary.Prefer),
            "If-Match" or "If-None-Match" => chance.Of(Dictionary.Tags),
            "If-None-Exist" => "identifier=" + chance.Of(Dictionary.Texts),
            "Content-Encoding" or "Accept-Encoding" => chance.OneIn(2) ? "gzip" : "br, x",
            _ => chance.Of(Dictionary.Texts),
        };
        return Header(name, chance.OneIn(40) ? string.Concat(Enumerable.Repeat(value + ",", 300)) : value);
    }
}

/// <summary>The trade interface: every route that its document lists, with damaged bodies of the demo and of the examples.</summary>
internal sealed partial class ApiTarget : RequestTarget
{
    /// <summary>What the first segment after the interface names, as the type that it is stored as.</summary>
    private static readonly Dictionary<string, string> Kinds = new(StringComparer.Ordinal)
    {
        ["people"] = "Patient",
        ["programmes"] = "CarePlan",
        ["notes"] = "Composition",
        ["discharges"] = "Composition",
        ["letters"] = "Composition",
        ["tasks"] = "Task",
        ["exchange"] = "Task",
        ["home-links"] = "Task",
        ["flags"] = "Flag",
        ["sessions"] = "Procedure",
        ["measures"] = "Observation",
    };

    // What people open in a browser is not described by the interface's own document.
    private static readonly string[] Pages =
    [
        "/", "/caseload", "/library", "/people/{id}", "/people/{id}/programmes/new", "/people/{id}/discharge", "/people/{id}/letters/new", "/notes/{id}", "/notes/{id}/versions", "/programmes/{id}/desk",
        "/programmes/{id}/home-sheet", "/programmes/{id}/diary-sheet", "/tasks/{id}", "/flags/{id}", "/discharges/{id}", "/conflicts/{id}", "/received/{id}", "/home/{id}",
    ];

    private readonly Seeds _seeds;
    private readonly List<(string Method, string Path, byte[]? Example)> _routes;
    private readonly ILookup<string, string> _ids;

    public ApiTarget(Service service, Seeds seeds)
        : base(service)
    {
        _seeds = seeds;
        _routes = [.. service.OpenApi["paths"]!.AsObject().SelectMany(p => p.Value!.AsObject().Select(m => (m.Key.ToUpperInvariant(), p.Key, ExampleOf(m.Value!)))), .. Pages.Select(p => ("GET", p, (byte[]?)null))];
        _ids = service.Existing.Select(a => a.Split('/')).ToLookup(a => a[0], a => a[1], StringComparer.Ordinal);
    }

    public override string Name => "api";

    public override int Weight => 15;

    protected override Request Request(Chance chance)
    {
        var (method, path, example) = chance.Of(_routes);
        var kind = Kinds.GetValueOrDefault(path.Split('/').Skip(1).FirstOrDefault(s => s != "api") ?? "");
        // In one go: what is put in may have braces itself.
        path = Placeholder().Replace(path, _ => Escaped(chance.OneIn(4) ? chance.Of(Dictionary.Texts) : IdOf(kind, chance), chance));

        if (method == "GET")
            return new(method, chance.OneIn(2) ? path : $"{path}?{(chance.OneIn(3) ? "person" : Escaped(chance.Of(Dictionary.Texts), chance))}={(chance.OneIn(3) ? IdOf("Patient", chance) : Escaped(chance.Of(Dictionary.Texts), chance))}", [("Accept", chance.Of(Dictionary.MediaTypes))], []);
        var seed = example is not null && !chance.OneIn(4) ? example : chance.Of(_seeds.Api);
        var body = chance.OneIn(4) ? Mutations.Bytes(seed, chance, _seeds.Api, Dictionary.Json) : chance.OneIn(6) ? seed : Mutations.Json(seed, chance, _seeds.Api);
        if (!chance.OneIn(3))
            body = Encoding.Latin1.GetBytes(Named().Replace(Encoding.Latin1.GetString(body), m => $"\"{m.Groups[1].Value}\": \"{IdOf(m.Groups[1].Value == "person" ? "Patient" : "CarePlan", chance)}\""));
        List<(string, string)> headers = [("Content-Type", chance.OneIn(10) ? chance.Of(Dictionary.MediaTypes) : "application/json")];
        if (!chance.OneIn(3))
            headers.Add(("If-Match", $"W/\"{chance.Between(1, 4)}\""));
        return new(method, path, headers, body);
    }

    private static byte[]? ExampleOf(JsonNode operation) =>
        operation["requestBody"]?["content"]?["application/json"]?["example"] is { } example ? Encoding.UTF8.GetBytes(example.ToJsonString()) : null;

    private string IdOf(string? kind, Chance chance) =>
        kind is not null && _ids[kind].Any() && !chance.OneIn(5) ? chance.Of([.. _ids[kind]]) : chance.Of(Service.Existing).Split('/')[1];

    [GeneratedRegex(@"\{[^}]*\}")]
    private static partial Regex Placeholder();

    [GeneratedRegex("\"(person|programme)\"\\s*:\\s*\"[^\"]*\"")]
    private static partial Regex Named();
}

/// <summary>Bytes that may not be HTTP at all.</summary>
internal sealed class SocketTarget(Service service, Seeds seeds) : RequestTarget(service)
{
    public override string Name => "socket";

    protected override bool IsComplete => false;

    public override int Weight => 4;

    protected override Request Request(Chance chance) => new("POST", "/fhir/Patient/$validate", [("Content-Type", "application/fhir+json")], chance.Of(seeds.Json));

    public override byte[] Make(Chance chance) => Mutations.Bytes(base.Make(chance), chance, seeds.Json, ["\r\n", " ", ":", "HTTP/1.1", "Content-Length: 99999", "Transfer-Encoding: chunked\r\n", "0\r\n\r\n", "%00", "//"]);
}
