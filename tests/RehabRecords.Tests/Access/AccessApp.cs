using System.Net;
using System.Net.Http.Headers;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using Microsoft.IdentityModel.JsonWebTokens;
using Microsoft.IdentityModel.Tokens;
using RehabRecords.Access;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Access;

/// <summary>A system with a key pair of its own, made for the test.</summary>
public sealed class TestClient : IDisposable
{
    private readonly ECDsa? _ec;
    private readonly RSA? _rsa;

    public TestClient(string id, string organisation, string role, string[] scopes, bool rsa = false, string[]? people = null)
    {
        (Id, Organisation, Role, Scopes, People) = (id, organisation, role, scopes, people);
        if (rsa)
            _rsa = RSA.Create(2048);
        else
            _ec = ECDsa.Create(ECCurve.NamedCurves.nistP384);
        Key = rsa ? new RsaSecurityKey(_rsa) { KeyId = id + "-key" } : new ECDsaSecurityKey(_ec) { KeyId = id + "-key" };
        Algorithm = rsa ? SecurityAlgorithms.RsaSha384 : SecurityAlgorithms.EcdsaSha384;
    }

    public string Id { get; }

    public string Organisation { get; }

    public string Role { get; }

    public string[] Scopes { get; }

    public string[]? People { get; }

    public SecurityKey Key { get; }

    public string Algorithm { get; }

    public JsonObject PublicKey
    {
        get
        {
            var key = _rsa is not null
                ? JsonWebKeyConverter.ConvertFromRSASecurityKey(new RsaSecurityKey(_rsa.ExportParameters(false)) { KeyId = Key.KeyId })
                : PublicEc();
            return new JsonObject { ["kty"] = key.Kty, ["kid"] = Key.KeyId, ["alg"] = Algorithm, ["use"] = "sig" }.With(key);
        }
    }

    public JsonObject Registration()
    {
        var entry = new JsonObject
        {
            ["id"] = Id,
            ["name"] = "System " + Id,
            ["organisation"] = Organisation,
            ["role"] = Role,
            ["scopes"] = new JsonArray([.. Scopes.Select(s => JsonValue.Create(s))]),
            ["keys"] = new JsonObject { ["keys"] = new JsonArray(PublicKey) },
        };
        if (People is not null)
            entry["people"] = new JsonArray([.. People.Select(p => JsonValue.Create(p))]);
        return entry;
    }

    /// <summary>An assertion as it should be, but for what is changed.</summary>
    public string Assertion(
        string audience, DateTimeOffset now, int seconds = 240, string? issuer = null, string? subject = null, string? jti = "", SecurityKey? key = null, string? algorithm = null, string? kid = null, string type = "JWT", bool expires = true)
    {
        var signing = key ?? Key;
        if (kid is not null)
            signing = signing is ECDsaSecurityKey ec ? new ECDsaSecurityKey(ec.ECDsa) { KeyId = kid } : new RsaSecurityKey(((RsaSecurityKey)signing).Rsa ?? RSA.Create(((RsaSecurityKey)signing).Parameters)) { KeyId = kid };
        var claims = new Dictionary<string, object> { ["iss"] = issuer ?? Id, ["sub"] = subject ?? Id, ["aud"] = audience };
        if (jti is not null)
            claims["jti"] = jti.Length == 0 ? Guid.NewGuid().ToString("N") : jti;
        if (expires)
            claims["exp"] = now.ToUnixTimeSeconds() + seconds;
        return new JsonWebTokenHandler { SetDefaultTimesOnTokenCreation = false }.CreateToken(new SecurityTokenDescriptor
        {
            Claims = claims,
            TokenType = type,
            SigningCredentials = new SigningCredentials(signing, algorithm ?? Algorithm) { CryptoProviderFactory = new CryptoProviderFactory { CacheSignatureProviders = false } },
        });
    }

    public void Dispose()
    {
        _ec?.Dispose();
        _rsa?.Dispose();
    }

    private JsonWebKey PublicEc()
    {
        using var open = ECDsa.Create(_ec!.ExportParameters(false));
        return JsonWebKeyConverter.ConvertFromECDsaSecurityKey(new ECDsaSecurityKey(open) { KeyId = Key.KeyId });
    }
}

internal static class KeyMembers
{
    public static JsonObject With(this JsonObject json, JsonWebKey key)
    {
        foreach (var (name, value) in new[] { ("n", key.N), ("e", key.E), ("crv", key.Crv), ("x", key.X), ("y", key.Y) })
            if (!string.IsNullOrEmpty(value))
                json[name] = value;
        return json;
    }
}

/// <summary>A closed service with two organisations, hill and vale, and the systems of both.</summary>
public class AccessApp : TestApp
{
    public const string TokenAddress = PublicUrl + "/access/token";
    private readonly string _clientsFile = Path.Combine(Path.GetTempPath(), $"rehabrecords-clients-{Guid.NewGuid():N}.json");

    private readonly bool _isLike;

    public AccessApp()
        : this(null)
    {
    }

    /// <param name="like">A service whose systems are those of this one as well.</param>
    internal AccessApp(AccessApp? like)
    {
        _isLike = like is not null;
        Hill = like?.Hill ?? new("hill-all", "hill", "system", ["system/*.cruds", "system/AuditEvent.rs", "api/*"]);
        Vale = like?.Vale ?? new("vale-all", "vale", "system", ["system/*.cruds", "api/*"], rsa: true);
        Narrow = like?.Narrow ?? new("hill-observations", "hill", "system", ["system/Observation.rs"]);
        Reader = like?.Reader ?? new("hill-reader", "hill", "system", ["system/*.rs", "api/read-record"]);
        Settings["RehabRecords:Access:Mode"] = "closed";
        Settings["RehabRecords:Access:Organisations:hill"] = "Hill Clinic";
        Settings["RehabRecords:Access:Organisations:vale"] = "Vale Clinic";
        Settings["RehabRecords:Access:ClientsFile"] = _clientsFile;
        Register();
    }

    public TestClient Hill { get; }

    public TestClient Vale { get; }

    public TestClient Narrow { get; }

    public TestClient Reader { get; }

    protected List<TestClient> More { get; } = [];

    public RecordStore StoreOf(string organisation) => Service<Stores>().Of(organisation);

    public void Register(params TestClient[] more)
    {
        More.AddRange(more);
        var register = new JsonObject { ["clients"] = new JsonArray([.. new[] { Hill, Vale, Narrow, Reader }.Concat(More).Select(c => c.Registration())]) };
        File.WriteAllText(_clientsFile, register.ToJsonString());
        File.SetLastWriteTimeUtc(_clientsFile, DateTime.UnixEpoch.AddDays(20000).AddSeconds(More.Count));
    }

    /// <summary>The address the service believes it has.</summary>
    public string Base => Settings.GetValueOrDefault("RehabRecords:PublicUrl", PublicUrl);

    public DateTimeOffset Now => (Clock ?? TimeProvider.System).GetUtcNow();

    public async Task<(HttpStatusCode Status, JsonNode Body)> AskAsync(string assertion, string scope, params (string Name, string Value)[] further)
    {
        var form = new Dictionary<string, string>
        {
            ["grant_type"] = "client_credentials",
            ["scope"] = scope,
            ["client_assertion_type"] = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer",
            ["client_assertion"] = assertion,
        };
        foreach (var (name, value) in further)
            form[name] = value;
        using var response = await Http.PostAsync("/access/token", new FormUrlEncodedContent(form));
        var text = await response.Content.ReadAsStringAsync();
        return (response.StatusCode, text.Length == 0 ? new JsonObject() : JsonNode.Parse(text)!);
    }

    public async Task<string> TokenAsync(TestClient client, params string[] scopes)
    {
        var (status, body) = await AskAsync(client.Assertion(Base + "/access/token", Now), string.Join(' ', scopes.Length == 0 ? client.Scopes : scopes));
        Assert.True(status == HttpStatusCode.OK, $"{(int)status}: {body}");
        return (string)body["access_token"]!;
    }

    /// <summary>A client of the service that carries the token.</summary>
    public async Task<HttpClient> AsAsync(TestClient client, params string[] scopes) => With(await TokenAsync(client, scopes));

    public HttpClient With(string token)
    {
        var http = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false, Expect100ContinueTimeout = TimeSpan.FromMinutes(1) }) { BaseAddress = Address };
        http.DefaultRequestHeaders.Authorization = new AuthenticationHeaderValue("Bearer", token);
        return http;
    }

    protected override void Dispose(bool disposing)
    {
        base.Dispose(disposing);
        File.Delete(_clientsFile);
        if (_isLike)
            return;
        foreach (var client in new[] { Hill, Vale, Narrow, Reader }.Concat(More))
            client.Dispose();
    }
}

internal static class Asking
{
    public static async Task<(HttpStatusCode Status, JsonNode Body)> SendAsync(this HttpClient http, string method, string path, string? body = null, params (string Name, string Value)[] headers)
    {
        using var request = new HttpRequestMessage(new HttpMethod(method), path);
        if (body is not null)
            request.Content = new StringContent(body, Encoding.UTF8, path.StartsWith("/api", StringComparison.Ordinal) ? "application/json" : "application/fhir+json");
        foreach (var (name, value) in headers)
            request.Headers.TryAddWithoutValidation(name, value);
        using var response = await http.SendAsync(request);
        var text = await response.Content.ReadAsStringAsync();
        try
        {
            return (response.StatusCode, text.Length == 0 ? new JsonObject() : JsonNode.Parse(text)!);
        }
        catch (JsonException)
        {
            return (response.StatusCode, JsonValue.Create(text));
        }
    }

    /// <summary>Must be answered so; the words of a refusal are given back.</summary>
    public static async Task<JsonNode> ExpectAsync(this HttpClient http, HttpStatusCode expected, string method, string path, string? body = null, params (string Name, string Value)[] headers)
    {
        var (status, answer) = await http.SendAsync(method, path, body, headers);
        Assert.True(status == expected, $"{method} {path}: expected {(int)expected}, got {(int)status}: {answer}");
        return answer;
    }

    public static string Said(this JsonNode outcome) => (string?)outcome["issue"]?[0]?["diagnostics"] ?? (string?)outcome["detail"] ?? "";
}
