using System.Net;
using System.Text;
using Microsoft.AspNetCore.Authentication;
using Microsoft.AspNetCore.Authentication.Cookies;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.DependencyInjection;
using RehabRecords.Tests.Pages;
using RehabRecords.Tests.Rest;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Access;

/// <summary>What comes from other origins, other hosts and unsafe connections.</summary>
public sealed class BoundaryTests(AccessApp app) : IClassFixture<AccessApp>
{
    private static readonly string[] Claimed = ["Host", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Forwarded-Prefix", "X-Forwarded-For", "X-Forwarded-Server", "X-Original-Host", "X-Original-URL", "X-Rewrite-URL", "X-Host", "Forwarded"];

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public async Task A_host_that_a_caller_claims_stands_in_no_answer(bool closed)
    {
        await using var own = closed ? app : new TestApp();
        using var http = closed ? await app.AsAsync(app.Hill) : new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false }) { BaseAddress = own.Address };
        var answers = new List<string>();
        async Task<string> AskAsync(string method, string path, string? body = null, string accept = "application/fhir+json, application/json;q=0.9")
        {
            using var request = new HttpRequestMessage(new HttpMethod(method), path);
            if (body is not null)
                request.Content = new StringContent(body, Encoding.UTF8, path.StartsWith("/api", StringComparison.Ordinal) ? "application/json" : FhirCalls.Json);
            request.Headers.TryAddWithoutValidation("Accept", accept);
            foreach (var name in Claimed)
                request.Headers.TryAddWithoutValidation(name, name switch { "X-Forwarded-Proto" => "poisoned", "Forwarded" => "host=poisoned.test;proto=poisoned;for=poisoned", "X-Forwarded-Prefix" or "X-Original-URL" or "X-Rewrite-URL" => "/poisoned", _ => "poisoned.test" });
            using var response = await http.SendAsync(request);
            var text = $"{method} {path} {(int)response.StatusCode}\n{response.Headers}{response.Content.Headers}\n{await response.Content.ReadAsStringAsync()}";
            answers.Add(text);
            return response.Headers.Location?.OriginalString ?? "";
        }

        var person = await AskAsync("POST", "/fhir/Patient", FhirCalls.Person("Hosted"));
        Assert.StartsWith(TestApp.FhirBase + "/Patient/", person);
        var id = person.Split('/')[5];
        await AskAsync("POST", "/api/people", TradeApp.With(TradeApp.Person, ("identifier", "null")).ToJsonString());
        await AskAsync("POST", "/fhir", FhirCalls.Bundle("batch", FhirCalls.Entry("POST", "Patient", FhirCalls.Person("Batched"))).ToJsonString());
        foreach (var path in new[]
        {
            "/fhir/metadata", "/fhir/.well-known/smart-configuration", "/.well-known/smart-configuration", "/.well-known/openid-configuration", "/openapi/v1.json", "/fhir/Patient?_count=1", "/fhir/Patient/_history?_count=1", "/fhir/_history?_count=1", "/fhir?_type=Patient&_count=1",
            $"/fhir/Patient/{id}", $"/fhir/Patient/{id}/$everything", $"/fhir/Patient/{id}/_history", "/fhir/Patient/nobody", "/fhir/Nothing", "/fhir/Patient?nothing=1", "/api/people", $"/api/people/{id}", "/api/people/nobody", "/api/signing-keys", "/health/ready", "/nothing/here",
        })
            await AskAsync("GET", path);
        foreach (var page in new[] { "/", "/caseload", "/docs", "/docs/", "/docs/index.html", "/help", $"/people/{id}", "/home/nobody", "/you", "/nothing", "/signed-in?error=access_denied" })
            await AskAsync("GET", page, accept: "text/html");
        await AskAsync("POST", "/access/token", "{}");
        await AskAsync("GET", "/fhir/$export");
        Assert.All(answers, answer => Assert.DoesNotContain("poisoned", answer, StringComparison.OrdinalIgnoreCase));
        Assert.Contains(answers, answer => answer.Contains(TestApp.FhirBase + "/Patient?", StringComparison.Ordinal));
    }

    [Fact]
    public async Task No_other_origin_is_let_in()
    {
        using var http = await app.AsAsync(app.Hill);
        foreach (var path in new[] { "/fhir/Patient", "/fhir", "/fhir/metadata", "/api/people", "/api/sessions", "/access/token", "/caseload", "/you", "/health/live", "/.well-known/smart-configuration" })
            foreach (var (method, preflight) in new[] { ("OPTIONS", true), ("GET", false), ("POST", false) })
                foreach (var origin in new[] { "https://elsewhere.test", "null", "https://records.test.elsewhere.test" })
                {
                    using var request = new HttpRequestMessage(new HttpMethod(method), path) { Content = method == "POST" ? new StringContent("{}", Encoding.UTF8, "application/json") : null };
                    request.Headers.Add("Origin", origin);
                    request.Headers.Add("Sec-Fetch-Site", "cross-site");
                    if (preflight)
                    {
                        request.Headers.Add("Access-Control-Request-Method", "POST");
                        request.Headers.Add("Access-Control-Request-Headers", "authorization, content-type");
                    }

                    using var response = await http.SendAsync(request);
                    Assert.DoesNotContain(response.Headers.Concat(response.Content.Headers), h => h.Key.StartsWith("Access-Control-", StringComparison.OrdinalIgnoreCase));
                    Assert.False(preflight && response.IsSuccessStatusCode, $"{method} {path} {(int)response.StatusCode}");
                }
    }

    [Fact]
    public async Task On_https_cookies_carry_the_prefix_by_which_a_browser_refuses_forged_ones()
    {
        await using var safe = new AccessApp { Settings = { ["RehabRecords:PublicUrl"] = "https://records.test", ["RehabRecords:Access:SignIn:Authority"] = "https://issuer.test" } };
        await ((IAsyncLifetime)safe).InitializeAsync();
        using var scope = safe.Services.CreateScope();
        var context = new DefaultHttpContext { RequestServices = scope.ServiceProvider, Request = { Scheme = "https", Host = new HostString("records.test") } };
        await context.SignInAsync(CookieAuthenticationDefaults.AuthenticationScheme, new System.Security.Claims.ClaimsPrincipal(new System.Security.Claims.ClaimsIdentity(
            [new("sub", "rowan"), new("name", "Rowan Invented"), new("role", "therapist"), new("organisation", "hill")], "issuer")));
        var session = Assert.Single(context.Response.Headers.SetCookie)!;
        IsSafe("__Host-session", session);

        // With it the pages open, and with the same under a name that another host could set they do not.
        var value = session.Split(';')[0].Split('=', 2)[1];
        Assert.Equal(HttpStatusCode.OK, (await PageAsync(safe, "__Host-session=" + value)).Status);
        Assert.NotEqual(HttpStatusCode.OK, (await PageAsync(safe, "session=" + value)).Status);
        IsSafe("__Host-form", Assert.Single((await PageAsync(safe, "__Host-session=" + value)).Cookies));
    }

    private static void IsSafe(string name, string cookie)
    {
        var parts = cookie.Split(';', StringSplitOptions.TrimEntries);
        Assert.StartsWith(name + "=", parts[0]);
        // The prefix holds where all of these do: https alone, the whole host, and no other host.
        Assert.Contains(parts, p => p.Equals("secure", StringComparison.OrdinalIgnoreCase));
        Assert.Contains(parts, p => p.Equals("path=/", StringComparison.OrdinalIgnoreCase));
        Assert.Contains(parts, p => p.Equals("httponly", StringComparison.OrdinalIgnoreCase));
        Assert.Contains(parts, p => p.StartsWith("samesite=", StringComparison.OrdinalIgnoreCase) && !p.EndsWith("none", StringComparison.OrdinalIgnoreCase));
        Assert.DoesNotContain(parts, p => p.StartsWith("domain", StringComparison.OrdinalIgnoreCase));
    }

    private static async Task<(HttpStatusCode Status, string[] Cookies)> PageAsync(TestApp app, string cookie)
    {
        using var http = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false, UseCookies = false }) { BaseAddress = app.Address };
        using var request = new HttpRequestMessage(HttpMethod.Get, "/you");
        request.Headers.Add("Cookie", cookie);
        request.Headers.Add("Accept", "text/html");
        using var response = await http.SendAsync(request);
        return (response.StatusCode, response.Headers.TryGetValues("Set-Cookie", out var set) ? [.. set] : []);
    }
}

/// <summary>What a form is worth that another origin makes somebody's browser send.</summary>
public sealed class CrossOriginFormTests(SignInApp app) : IClassFixture<SignInApp>
{
    [Fact]
    public async Task A_form_of_another_origin_is_refused_though_the_cookie_comes_along()
    {
        var rowan = await app.SignedInAsync("Rowan Invented", "therapist", "hill", registration: "INV-1001");
        var other = await app.SignedInAsync("Merle Fictive", "therapist", "hill");
        Assert.Equal(HttpStatusCode.BadRequest, (await rowan.PostAsync("/you/leave", [])).Status);
        // The token of a page that somebody else was given is of no use either.
        var strange = Browser.Form(await other.PageAsync("/you"), "/you/leave");
        Assert.Equal(HttpStatusCode.BadRequest, (await rowan.PostAsync("/you/leave", strange)).Status);
        Assert.Equal(HttpStatusCode.OK, (await rowan.GoAsync("/caseload")).Status);
        // What a browser sends across origins without asking first is not read where programs call, cookie or not.
        using var http = await app.AsAsync(app.Hill);
        foreach (var (path, type) in new[] { ("/api/people", "text/plain"), ("/api/people", "application/x-www-form-urlencoded"), ("/fhir/Patient", "text/plain"), ("/fhir/Patient", "multipart/form-data; boundary=x") })
        {
            using var content = new ByteArrayContent(Encoding.UTF8.GetBytes(path == "/api/people" ? TradeApp.Person : FhirCalls.Person("Crossed")));
            content.Headers.TryAddWithoutValidation("Content-Type", type);
            using var response = await http.PostAsync(path, content);
            Assert.Equal(HttpStatusCode.UnsupportedMediaType, response.StatusCode);
        }
    }
}
