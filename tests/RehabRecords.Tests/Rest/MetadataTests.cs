using System.Net;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;
using RehabRecords.Fhir;
using RehabRecords.Rest.Conformance;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Tests.Rest;

public sealed class MetadataTests(TestApp app) : IClassFixture<TestApp>
{
    private async Task<CapabilityStatement> StatementAsync(string query = "")
    {
        using var response = await app.SendAsync("GET", "/metadata" + query);
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        return await response.FhirAsync<CapabilityStatement>();
    }

    [Fact]
    public async Task The_statement_is_valid_and_says_what_it_must()
    {
        var statement = await StatementAsync();
        Assert.Equal((FHIRVersion.N4_0_1, CapabilityStatementKind.Instance, TestApp.FhirBase), (statement.FhirVersion, statement.Kind, statement.Implementation!.Url));
        Assert.Equal(["application/fhir+json", "application/fhir+xml"], statement.Format);
        Assert.All(TestApp.SharedValidator.Validate(statement), issue => Assert.False(issue.Refuses, issue.Message));
    }

    [Fact]
    public async Task What_is_advertised_is_the_registry()
    {
        var statement = await StatementAsync();
        Assert.Equal(ResourceRegistry.Standard.Kinds.Select(k => k.Type).Concat(DefinitionKinds.All.Select(k => k.Type)).Order(StringComparer.Ordinal), statement.Rest[0].Resource.Select(r => r.Type));
        Assert.Equal(["exercise-result", "measure-result"], statement.Rest[0].Resource.Single(r => r.Type == "Observation").SupportedProfile
            .Select(p => p![(p!.LastIndexOf('/') + 1)..]).Where(p => p.EndsWith("-result", StringComparison.Ordinal)));
        var audit = statement.Rest[0].Resource.Single(r => r.Type == "AuditEvent");
        Assert.DoesNotContain(audit.Interaction, i => i.Code is CapabilityStatement.TypeRestfulInteraction.Create or CapabilityStatement.TypeRestfulInteraction.Update or CapabilityStatement.TypeRestfulInteraction.Delete);
    }

    [Fact]
    public async Task Every_advertised_interaction_has_a_route_and_no_route_is_left_unsaid()
    {
        var statement = await StatementAsync();
        var advertised = new HashSet<string> { "GET /metadata", "POST /", "GET /_history", "GET /", "POST /_search", "GET /Patient/{id}/{type}" };
        // Where what $export promises is asked for and fetched; its definition says so.
        advertised.UnionWith(["GET /bulk/{job}", "DELETE /bulk/{job}", "GET /bulk/{job}/{file}"]);
        foreach (var operation in app.Service<IEnumerable<Operation>>())
            foreach (var (_, path) in operation.Places(ResourceRegistry.Standard))
                advertised.UnionWith(operation.Methods.Where(m => m != "HEAD").Select(m => $"{m} {path}"));
        foreach (var resource in statement.Rest[0].Resource)
        {
            var type = resource.Type;
            if (resource.ConditionalUpdate == true)
                advertised.Add($"PUT /{type}");
            if (resource.ConditionalDelete == CapabilityStatement.ConditionalDeleteStatus.Single)
                advertised.Add($"DELETE /{type}");
            foreach (var interaction in resource.Interaction)
            {
                advertised.UnionWith(interaction.Code switch
                {
                    CapabilityStatement.TypeRestfulInteraction.Read => [$"GET /{type}/{{id}}"],
                    CapabilityStatement.TypeRestfulInteraction.Vread => [$"GET /{type}/{{id}}/_history/{{version}}"],
                    CapabilityStatement.TypeRestfulInteraction.HistoryInstance => [$"GET /{type}/{{id}}/_history"],
                    CapabilityStatement.TypeRestfulInteraction.HistoryType => [$"GET /{type}/_history"],
                    CapabilityStatement.TypeRestfulInteraction.SearchType => [$"GET /{type}", $"POST /{type}/_search"],
                    CapabilityStatement.TypeRestfulInteraction.Create => [$"POST /{type}"],
                    CapabilityStatement.TypeRestfulInteraction.Update => [$"PUT /{type}/{{id}}"],
                    CapabilityStatement.TypeRestfulInteraction.Patch => [$"PATCH /{type}/{{id}}", $"PATCH /{type}"],
                    CapabilityStatement.TypeRestfulInteraction.Delete => [$"DELETE /{type}/{{id}}"],
                    var other => throw new InvalidOperationException($"{other} is advertised and this test does not know its route."),
                });
            }
        }
        var routes = app.Service<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>()
            .Where(e => e.RoutePattern.RawText!.StartsWith("/fhir", StringComparison.Ordinal))
            .SelectMany(e => e.Metadata.GetMetadata<HttpMethodMetadata>()!.HttpMethods.Where(m => m != "HEAD").Select(m => $"{m} {e.RoutePattern.RawText!["/fhir".Length..]}"));
        Assert.Equal(advertised.Order(StringComparer.Ordinal), routes.Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task The_tag_of_the_statement_lets_a_caller_keep_it()
    {
        using var first = await app.SendAsync("GET", "/metadata");
        using var second = await app.SendAsync("GET", "/metadata", null, FhirCalls.Json, ("If-None-Match", first.ETag()!));
        Assert.Equal(HttpStatusCode.NotModified, second.StatusCode);
    }

    [Theory]
    [InlineData("?mode=full", 200)]
    [InlineData("?mode=normative", 200)]
    [InlineData("?mode=terminology", 400)]
    [InlineData("?mood=full", 400)]
    public async Task The_mode_may_be_named(string query, int status)
    {
        using var response = await app.SendAsync("GET", "/metadata" + query);
        if (status == 200)
            Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        else
            await response.RefusedAsync(status);
    }
}
