using System.Net;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;
using RehabRecords.Access;

namespace RehabRecords.Tests.Access;

/// <summary>What each role of the trade may do, and that every address asks for something.</summary>
public sealed class RoleTests(RoleApp app) : IClassFixture<RoleApp>
{
    [Fact]
    public void Every_address_is_listed_and_only_a_few_are_open()
    {
        _ = app.Address;
        var routes = app.Services.GetRequiredService<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>()
            .SelectMany(e => (e.Metadata.GetMetadata<HttpMethodMetadata>()?.HttpMethods ?? ["GET"]).Select(method => (method, Pattern: e.RoutePattern.RawText ?? ""))).Distinct().ToList();
        Assert.True(routes.Count > 300, $"{routes.Count} routes");
        var unlisted = routes.Where(r => Need.At(r.method, r.Pattern) is null).ToList();
        Assert.True(unlisted.Count == 0, string.Join('\n', unlisted));
        var open = routes.Where(r => Need.At(r.method, r.Pattern)!.Asks == Asks.Nothing).Select(r => "/" + r.Pattern.Trim('/')).Distinct().Order(StringComparer.Ordinal);
        Assert.Equal(
            ["/.well-known/smart-configuration", "/api/signing-keys", "/assets/{file}", "/fhir/.well-known/smart-configuration", "/fhir/metadata", "/health/live", "/health/ready", "/help", "/home-worker.js", "/openapi/{documentName}.json"],
            open);
        // A route that somebody adds tomorrow.
        Assert.Null(Need.At("POST", "/api/everything"));
        Assert.Null(Need.At("GET", "/new-page"));
        Assert.Null(Need.At("DELETE", "/api/people/{id}"));
    }

    /// <summary>Role, what it tries, and whether it gets past the door (then the body is found wanting, or the thing is not there).</summary>
    [Theory]
    [InlineData("therapist", "POST", "/api/discharges", true)]
    [InlineData("student", "POST", "/api/discharges", false)]
    [InlineData("student", "POST", "/api/programmes", false)]
    [InlineData("student", "POST", "/api/sessions", true)]
    [InlineData("student", "POST", "/api/notes", true)]
    [InlineData("support-worker", "POST", "/api/sessions", true)]
    [InlineData("support-worker", "POST", "/api/notes", false)]
    [InlineData("support-worker", "POST", "/api/exercises", false)]
    [InlineData("support-worker", "GET", "/api/people/x/record", false)]
    [InlineData("community-team", "POST", "/api/programmes", true)]
    [InlineData("community-team", "POST", "/api/discharges", false)]
    [InlineData("community-team", "GET", "/api/people/x/record", false)]
    [InlineData("records-officer", "GET", "/api/people/x/record", true)]
    [InlineData("records-officer", "POST", "/api/programmes", false)]
    [InlineData("records-officer", "POST", "/api/notes", false)]
    [InlineData("records-officer", "POST", "/api/people/x/erasure", true)]
    [InlineData("records-officer", "POST", "/api/people/x/merges", true)]
    [InlineData("therapist", "POST", "/api/people/x/merges", true)]
    [InlineData("therapist", "POST", "/api/people/x/erasure", false)]
    [InlineData("therapist", "POST", "/api/people/x/legal-holds", false)]
    [InlineData("community-team", "POST", "/api/people/x/merges", false)]
    [InlineData("system", "POST", "/api/people/x/merges", false)]
    [InlineData("system", "POST", "/api/notes/x/signature", false)]
    [InlineData("system", "POST", "/api/notes/x/countersignature", false)]
    [InlineData("system", "POST", "/api/discharges", false)]
    [InlineData("system", "POST", "/api/programmes", true)]
    public async Task A_role_opens_what_the_table_says(string role, string method, string path, bool opens)
    {
        using var http = await app.AsAsync(app.Of(role));
        var (status, answer) = await http.SendAsync(method, path, method == "POST" ? "{}" : null);
        if (opens)
        {
            Assert.True(status is HttpStatusCode.UnprocessableEntity or HttpStatusCode.BadRequest or HttpStatusCode.NotFound, $"{(int)status}: {answer}");
            return;
        }

        Assert.True(status == HttpStatusCode.Forbidden, $"{(int)status}: {answer}");
        Assert.Contains($"which the role {role} does not have", answer.Said());
    }

    [Fact]
    public void The_table_answers_for_every_role_and_act()
    {
        // One line a role; the acts in the order of the type. What stands here is what docs/access.md says.
        var table = string.Join('\n', Enum.GetValues<Role>().Select(role => $"{RoleTable.Word(role),-15} {string.Concat(Enum.GetValues<Act>().Select(act => RoleTable.Allows(role, act) ? 'x' : '.'))}"));
        Assert.Equal(
            """
            therapist       xxxxxxxxxxxx...x
            student         xx..xx..........
            support-worker  xx..............
            community-team  xx.xxxx..xx.....
            records-officer x.x.....xxx..xxx
            system          xxxxx...xxxxxx..
            """.ReplaceLineEndings("\n"),
            table);
    }
}

/// <summary>With a client of each role, registered for all of /api.</summary>
public sealed class RoleApp : AccessApp
{
    public RoleApp() => Register([.. Enum.GetValues<Role>().Select(role => new TestClient($"hill-{RoleTable.Word(role)}", "hill", RoleTable.Word(role), ["api/*", "system/*.rs"]))]);

    public TestClient Of(string role) => More.First(c => c.Role == role);
}
