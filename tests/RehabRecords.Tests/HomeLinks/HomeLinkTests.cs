using System.Net;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.HomeLinks;

/// <summary>Handing out, listing and revoking links over the trade interface.</summary>
public class HomeLinkTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string Link = """{ "for": "carer", "validUntil": "2026-07-12", "by": { "name": "Rowan Invented", "role": "physiotherapist", "registration": "INV-7" } }""";

    [Fact]
    public async Task The_address_is_told_once_and_the_record_holds_only_its_hash()
    {
        var (_, programme) = await app.ProgrammeAsync();
        var answer = await app.PostAsync($"/api/programmes/{programme}/home-links", JsonNode.Parse(Link)!);
        var address = (string)answer["address"]!;
        var token = address.Split('/')[^1];
        Assert.StartsWith($"{TestApp.PublicUrl}/home/", address);
        Assert.Matches("^[A-Za-z0-9_-]{32}$", token);

        var task = await app.GetAsync($"/fhir/{answer["link"]!["task"]}");
        Assert.Equal(Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(token))), (string)task["identifier"]![0]!["value"]!);
        Assert.Equal("Rowan Invented, physiotherapist, registration INV-7", (string)task["requester"]!["display"]!);
        Assert.Equal("Quill Placeholder", (string)task["owner"]!["display"]!);
        var list = await app.GetAsync($"/api/programmes/{programme}/home-links");
        Assert.Equal("working", (string)Assert.Single(list.AsArray())!["state"]!);
        Assert.DoesNotContain(token, task.ToJsonString() + list.ToJsonString());
        Assert.DoesNotContain(token, await TestEngine.AllTextAsync(app.Store));
    }

    [Fact]
    public async Task A_repeat_under_the_same_key_makes_no_second_link_and_tells_no_address()
    {
        var (_, programme) = await app.ProgrammeAsync();
        async Task<JsonNode> SendAsync()
        {
            using var request = new HttpRequestMessage(HttpMethod.Post, $"/api/programmes/{programme}/home-links") { Content = TestApp.Json(Link) };
            request.Headers.Add("Idempotency-Key", $"link-{programme}");
            using var response = await app.Http.SendAsync(request);
            Assert.Equal(HttpStatusCode.Created, response.StatusCode);
            return JsonNode.Parse(await response.Content.ReadAsStringAsync())!;
        }

        var (first, second) = (await SendAsync(), await SendAsync());
        Assert.NotNull(first["address"]);
        Assert.Null(second["address"]);
        Assert.Equal((string?)first["link"]!["id"], (string?)second["link"]!["id"]);
        Assert.Single((await app.GetAsync($"/api/programmes/{programme}/home-links")).AsArray());
    }

    [Fact]
    public async Task A_revoked_link_says_why_and_who_and_is_not_revoked_twice()
    {
        var (_, programme) = await app.ProgrammeAsync();
        var link = (await app.PostAsync($"/api/programmes/{programme}/home-links", JsonNode.Parse(Link)!))["link"]!;
        const string why = """{ "by": { "name": "Rowan Invented", "role": "physiotherapist" }, "reason": "The phone was lost." }""";
        var revoked = await app.PostAsync($"/api/home-links/{link["id"]}/revocation", JsonNode.Parse(why)!);
        Assert.Equal(("revoked", "The phone was lost."), ((string)revoked["state"]!, (string)revoked["reason"]!));
        var kept = await app.GetAsync($"/fhir/Provenance?target={link["task"]}");
        Assert.Equal("Rowan Invented, physiotherapist", (string)kept["entry"]![0]!["resource"]!["agent"]![0]!["who"]!["display"]!);
        await app.RefusedAsync($"/api/home-links/{link["id"]}/revocation", why, HttpStatusCode.Conflict, "id", "revoked already");
    }

    [Theory]
    [InlineData("for", "\"neighbour\"", "for", "patient, carer")]
    [InlineData("validUntil", "\"2026-06-14\"", "validUntil", "2026-06-15 (today)")]
    [InlineData("validUntil", "\"2026-09-08\"", "validUntil", "2026-09-07 (12 weeks")]
    [InlineData("validUntil", null, "validUntil", "missing")]
    [InlineData("by", null, "by", "missing")]
    [InlineData("by.role", "\"carer\"", "by.role", "not a clinician")]
    public async Task A_link_that_would_not_do_is_refused(string field, string? value, string named, string says)
    {
        var (_, programme) = await app.ProgrammeAsync();
        await app.RefusedAsync($"/api/programmes/{programme}/home-links", TradeApp.With(Link, (field, value)).ToJsonString(), HttpStatusCode.UnprocessableEntity, named, says);
    }

    [Fact]
    public async Task There_is_no_link_for_a_draft()
    {
        var (_, programme) = await app.ProgrammeAsync(("status", "\"draft\""));
        await app.RefusedAsync($"/api/programmes/{programme}/home-links", Link, HttpStatusCode.UnprocessableEntity, "id", "draft", "Activate it first");
    }

    [Fact]
    public async Task A_task_of_another_kind_is_no_link() =>
        await app.RefusedAsync("/api/home-links/no-such-link/revocation", """{ "by": { "name": "Rowan Invented", "role": "physiotherapist" }, "reason": "x" }""", HttpStatusCode.NotFound, "id", "no link");
}
