using System.Net;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json.Nodes;
using Microsoft.IdentityModel.JsonWebTokens;
using Microsoft.IdentityModel.Tokens;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Access;

/// <summary>SMART Backend Services, with real keys over real HTTP.</summary>
public sealed class TokenTests(AccessApp app) : IClassFixture<AccessApp>
{
    [Theory]
    [InlineData("/.well-known/smart-configuration")]
    [InlineData("/fhir/.well-known/smart-configuration")]
    public async Task The_discovery_document_says_where_and_how_a_token_is_asked_for(string place)
    {
        using var response = await app.Http.GetAsync(place);
        Assert.Equal("application/json", response.Content.Headers.ContentType?.MediaType);
        var said = JsonNode.Parse(await response.Content.ReadAsStringAsync())!;
        Assert.Equal(AccessApp.TokenAddress, (string)said["token_endpoint"]!);
        Assert.Equal(["private_key_jwt"], said["token_endpoint_auth_methods_supported"]!.AsArray().Select(v => (string)v!));
        Assert.Equal(["RS384", "ES384"], said["token_endpoint_auth_signing_alg_values_supported"]!.AsArray().Select(v => (string)v!));
        Assert.Contains("client-confidential-asymmetric", said["capabilities"]!.AsArray().Select(v => (string)v!));
        Assert.Contains("permission-v2", said["capabilities"]!.AsArray().Select(v => (string)v!));
        Assert.Null(said["authorization_endpoint"]);
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task A_system_proves_itself_with_its_key_and_gets_a_token_of_five_minutes(bool rsa)
    {
        var client = rsa ? app.Vale : app.Hill;
        var (status, body) = await app.AskAsync(client.Assertion(AccessApp.TokenAddress, app.Now), "system/*.rs api/read-record");
        Assert.True(status == HttpStatusCode.OK, body.ToJsonString());
        Assert.Equal("bearer", ((string)body["token_type"]!).ToLowerInvariant());
        Assert.InRange((int)body["expires_in"]!, 290, 300);
        Assert.Null(body["refresh_token"]);
        using var http = app.With((string)body["access_token"]!);
        await http.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient");
        await http.ExpectAsync(HttpStatusCode.OK, "GET", "/api/people");
    }

    [Fact]
    public async Task Without_a_token_everything_but_what_is_about_nobody_is_closed()
    {
        foreach (var open in new[] { "/fhir/metadata", "/health/live", "/health/ready", "/help", "/api/signing-keys" })
            await app.Http.ExpectAsync(HttpStatusCode.OK, "GET", open);
        using var fhir = await app.Http.GetAsync("/fhir/Patient");
        Assert.Equal(HttpStatusCode.Unauthorized, fhir.StatusCode);
        Assert.Equal("Bearer", fhir.Headers.WwwAuthenticate.ToString());
        Assert.Equal("OperationOutcome", (string?)JsonNode.Parse(await fhir.Content.ReadAsStringAsync())!["resourceType"]);
        using var api = await app.Http.GetAsync("/api/people");
        Assert.Equal(HttpStatusCode.Unauthorized, api.StatusCode);
        Assert.Equal("application/problem+json", api.Content.Headers.ContentType?.MediaType);
        await app.Http.ExpectAsync(HttpStatusCode.Unauthorized, "GET", "/caseload");
        using var wrong = app.With("not.a.token");
        using var refused = await wrong.GetAsync("/fhir/Patient");
        Assert.Equal(HttpStatusCode.Unauthorized, refused.StatusCode);
        Assert.Contains("invalid_token", refused.Headers.WwwAuthenticate.ToString());
    }

    public static TheoryData<string> Forgeries =>
    [
        "unsigned", "signed with the public key as a secret", "RS256", "a key nobody registered", "a kid nobody registered", "another client's key", "RSA key under an EC kid",
        "a client nobody registered", "issuer and subject differ", "token address with a slash", "address of the service", "expired", "six minutes ahead", "without exp", "without jti", "of another type",
    ];

    [Theory]
    [MemberData(nameof(Forgeries))]
    public async Task A_forged_assertion_is_refused_as_an_unknown_client(string forgery)
    {
        using var stranger = ECDsa.Create(ECCurve.NamedCurves.nistP384);
        using var rsa = RSA.Create(2048);
        var client = app.Hill;
        string Of(string? audience = null, int seconds = 240, string? issuer = null, string? subject = null, string? jti = "", SecurityKey? key = null, string? algorithm = null, string? kid = null, string type = "JWT", bool expires = true) =>
            client.Assertion(audience ?? AccessApp.TokenAddress, app.Now, seconds, issuer, subject, jti, key, algorithm, kid, type, expires);
        var assertion = forgery switch
        {
            "unsigned" => Unsigned(client),
            "signed with the public key as a secret" => Of(key: new SymmetricSecurityKey(Encoding.UTF8.GetBytes(client.PublicKey.ToJsonString())) { KeyId = client.Key.KeyId }, algorithm: SecurityAlgorithms.HmacSha384),
            "RS256" => app.Vale.Assertion(AccessApp.TokenAddress, app.Now, algorithm: SecurityAlgorithms.RsaSha256),
            "a key nobody registered" => Of(key: new ECDsaSecurityKey(stranger) { KeyId = client.Key.KeyId }),
            "a kid nobody registered" => Of(kid: "another"),
            "another client's key" => Of(key: app.Narrow.Key),
            "RSA key under an EC kid" => Of(key: new RsaSecurityKey(rsa) { KeyId = client.Key.KeyId }, algorithm: SecurityAlgorithms.RsaSha384),
            "a client nobody registered" => Of(issuer: "stranger", subject: "stranger"),
            "issuer and subject differ" => Of(subject: app.Narrow.Id),
            "token address with a slash" => Of(audience: AccessApp.TokenAddress + "/"),
            "address of the service" => Of(audience: TestApp.PublicUrl),
            "expired" => Of(seconds: -40),
            "six minutes ahead" => Of(seconds: 301),
            "without exp" => Of(expires: false),
            "without jti" => Of(jti: null),
            _ => Of(type: "at+jwt"),
        };
        var (status, body) = await app.AskAsync(assertion, "system/*.rs");
        Assert.True(status is HttpStatusCode.BadRequest or HttpStatusCode.Unauthorized, $"{status}: {body}");
        Assert.Equal("invalid_client", (string?)body["error"]);
        Assert.Null(body["access_token"]);
    }

    [Theory]
    [InlineData(299, true)]
    [InlineData(301, false)]
    [InlineData(-25, true)]
    public async Task An_assertion_lives_five_minutes_at_most_and_clocks_may_differ_by_half_a_minute(int seconds, bool taken)
    {
        var (status, _) = await app.AskAsync(app.Hill.Assertion(AccessApp.TokenAddress, app.Now, seconds), "system/*.rs");
        Assert.Equal(taken, status == HttpStatusCode.OK);
    }

    [Fact]
    public async Task Of_an_assertion_sent_a_hundred_times_at_once_one_gets_a_token()
    {
        var assertion = app.Hill.Assertion(AccessApp.TokenAddress, app.Now);
        var answers = await Task.WhenAll(Enumerable.Range(0, 100).Select(_ => app.AskAsync(assertion, "system/*.rs")));
        Assert.Equal(1, answers.Count(a => a.Status == HttpStatusCode.OK));
        Assert.All(answers.Where(a => a.Status != HttpStatusCode.OK), a => Assert.Equal("invalid_client", (string?)a.Body["error"]));
    }

    [Theory]
    [InlineData("system/Patient.rs", "hill-observations")]
    [InlineData("system/Observation.cruds", "hill-observations")]
    [InlineData("system/*.rs", "hill-observations")]
    [InlineData("api/read-record", "hill-observations")]
    [InlineData("system/Observation.sr", "hill-all")]
    [InlineData("user/*.rs", "hill-all")]
    [InlineData("", "hill-all")]
    public async Task A_scope_beyond_the_registration_or_none_at_all_is_refused(string scope, string client)
    {
        var (status, body) = await app.AskAsync((client == app.Hill.Id ? app.Hill : app.Narrow).Assertion(AccessApp.TokenAddress, app.Now), scope);
        Assert.Equal(HttpStatusCode.BadRequest, status);
        Assert.Equal("invalid_scope", (string?)body["error"]);
    }

    [Fact]
    public async Task An_assertion_is_no_access_token()
    {
        using var http = app.With(app.Hill.Assertion(AccessApp.TokenAddress, app.Now));
        await http.ExpectAsync(HttpStatusCode.Unauthorized, "GET", "/fhir/Patient");
    }

    [Theory]
    [InlineData("aud", "http://records.test/fhir", HttpStatusCode.OK)]
    [InlineData("aud", "http://records.test", HttpStatusCode.Unauthorized)]
    [InlineData("aud", "http://records.test/fhir/", HttpStatusCode.Unauthorized)]
    [InlineData("aud", "https://other.test/fhir", HttpStatusCode.Unauthorized)]
    [InlineData("aud", null, HttpStatusCode.Unauthorized)]
    [InlineData("iss", "https://other.test/", HttpStatusCode.Unauthorized)]
    [InlineData("client_id", "stranger", HttpStatusCode.Unauthorized)]
    [InlineData("typ", "JWT", HttpStatusCode.Unauthorized)]
    public async Task A_token_of_the_right_key_that_is_meant_for_something_else_opens_nothing(string what, string? value, HttpStatusCode expected)
    {
        var token = new JsonWebToken(await app.TokenAsync(app.Hill));
        var claims = token.Claims.GroupBy(c => c.Type).ToDictionary(
            g => g.Key, g => g.First().ValueType.Contains("integer", StringComparison.Ordinal) ? (object)long.Parse(g.First().Value, System.Globalization.CultureInfo.InvariantCulture) : g.Count() == 1 ? g.First().Value : g.Select(c => c.Value).ToArray());
        if (value is null)
            claims.Remove(what);
        else if (what != "typ")
            claims[what] = value;
        using var key = ECDsa.Create();
        key.ImportFromPem(await File.ReadAllTextAsync(Path.Combine(app.Folder, "token-key.pem")));
        using var http = app.With(new JsonWebTokenHandler { SetDefaultTimesOnTokenCreation = false }.CreateToken(new SecurityTokenDescriptor
        {
            Claims = claims,
            TokenType = what == "typ" ? value : token.Typ,
            SigningCredentials = new SigningCredentials(new ECDsaSecurityKey(key) { KeyId = token.Kid }, SecurityAlgorithms.EcdsaSha384) { CryptoProviderFactory = new CryptoProviderFactory { CacheSignatureProviders = false } },
        }));
        await http.ExpectAsync(expected, "GET", "/fhir/Patient");
    }

    [Fact]
    public async Task A_token_ends_with_its_time_and_with_its_client()
    {
        await using var own = new ShortLived();
        await ((IAsyncLifetime)own).InitializeAsync();
        using var http = await own.AsAsync(own.Hill);
        await http.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient");
        own.Time.Now += TimeSpan.FromSeconds(301);
        await http.ExpectAsync(HttpStatusCode.Unauthorized, "GET", "/fhir/Patient");

        using var leaver = new TestClient("hill-leaver", "hill", "system", ["system/*.rs"]);
        own.Register(leaver);
        own.Time.Now += TimeSpan.FromSeconds(3);
        using var still = await own.AsAsync(leaver);
        await still.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient");
        own.Unregister(leaver);
        own.Time.Now += TimeSpan.FromSeconds(3);
        await still.ExpectAsync(HttpStatusCode.Unauthorized, "GET", "/fhir/Patient");
    }

    [OnPostgresql]
    public async Task Of_an_assertion_sent_to_two_instances_at_once_one_gets_a_token()
    {
        await using var first = new AccessApp(app);
        await ((IAsyncLifetime)first).InitializeAsync();
        // Another process on the same database, with a folder of its own.
        await using var second = new AccessApp(app) { Settings = { ["RehabRecords:Store:Schema"] = TestEngine.SchemaOf(first.Folder) } };
        await ((IAsyncLifetime)second).InitializeAsync();
        for (var round = 0; round < 5; round++)
        {
            var assertion = app.Hill.Assertion(AccessApp.TokenAddress, app.Now);
            var answers = await Task.WhenAll(Enumerable.Range(0, 100).Select(i => (i % 2 == 0 ? first : second).AskAsync(assertion, "system/*.rs")));
            Assert.Equal(1, answers.Count(a => a.Status == HttpStatusCode.OK));
            Assert.All(answers.Where(a => a.Status != HttpStatusCode.OK), a => Assert.Equal("invalid_client", (string?)a.Body["error"]));
        }
    }

    [Fact]
    public async Task Used_assertions_are_forgotten_when_they_have_long_ended()
    {
        await using var own = new ShortLived();
        await ((IAsyncLifetime)own).InitializeAsync();
        Task<long> KeptAsync() => own.StoreOf("hill").Readers.ReadAsync(s => (long)s.One("SELECT count(*) FROM answer WHERE client LIKE 'assertion %'")!, default);
        using var http = await own.AsAsync(own.Hill);
        await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/people", TradeApp.Person, ("Idempotency-Key", "kept"));
        for (var i = 0; i < 4; i++)
            await own.TokenAsync(own.Hill);
        var used = own.Hill.Assertion(AccessApp.TokenAddress, own.Now);
        Assert.Equal(HttpStatusCode.OK, (await own.AskAsync(used, "system/*.rs")).Status);
        Assert.Equal(6, await KeptAsync());
        own.Time.Now += TimeSpan.FromMinutes(59);
        await own.TokenAsync(own.Hill);
        Assert.Equal(7, await KeptAsync());
        own.Time.Now += TimeSpan.FromMinutes(2);
        await own.TokenAsync(own.Hill);
        Assert.Equal(2, await KeptAsync());
        Assert.Equal("invalid_client", (string?)(await own.AskAsync(used, "system/*.rs")).Body["error"]);
        // Answers to keys of callers are kept with the record.
        using var again = await own.AsAsync(own.Hill);
        Assert.Equal(1, await own.StoreOf("hill").Readers.ReadAsync(s => (long)s.One("SELECT count(*) FROM answer WHERE client='api'")!, default));
    }

    [Fact]
    public async Task An_assertion_used_before_a_restart_is_not_taken_after_it()
    {
        var folder = Directory.CreateTempSubdirectory("rehabrecords-again-").FullName;
        try
        {
            string assertion;
            await using (var first = new AccessApp(app) { Again = folder })
            {
                await ((IAsyncLifetime)first).InitializeAsync();
                assertion = app.Hill.Assertion(AccessApp.TokenAddress, app.Now);
                Assert.Equal(HttpStatusCode.OK, (await first.AskAsync(assertion, "system/*.rs")).Status);
            }

            await using var second = new AccessApp(app) { Again = folder };
            await ((IAsyncLifetime)second).InitializeAsync();
            Assert.Equal("invalid_client", (string?)(await second.AskAsync(assertion, "system/*.rs")).Body["error"]);
            Assert.Equal(HttpStatusCode.OK, (await second.AskAsync(app.Hill.Assertion(AccessApp.TokenAddress, app.Now), "system/*.rs")).Status);
        }
        finally
        {
            TestEngine.Drop(folder);
        }
    }

    private static string Unsigned(TestClient client)
    {
        var parts = client.Assertion(AccessApp.TokenAddress, DateTimeOffset.UtcNow).Split('.');
        return Base64UrlEncoder.Encode("""{"alg":"none","typ":"JWT"}""") + "." + parts[1] + ".";
    }

    private sealed class ShortLived : AccessApp
    {
        public ShortLived() => Clock = new TestClock(DateTimeOffset.UtcNow);

        public TestClock Time => (TestClock)Clock!;

        public void Unregister(TestClient client)
        {
            More.Remove(client);
            Register();
        }
    }
}
