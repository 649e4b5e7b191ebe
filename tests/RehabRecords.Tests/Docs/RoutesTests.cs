using System.Text.Json.Nodes;
using RehabRecords.Fhir;

namespace RehabRecords.Tests.Docs;

/// <summary>What the running service offers is what the page of routes says, no more and no less.</summary>
public sealed class RoutesTests(TestApp app) : IClassFixture<TestApp>
{
    private static readonly string Page = File.ReadAllText(Path.Combine(Repository.Root, "docs", "api.md")).Replace("\\|", "|", StringComparison.Ordinal);

    [Fact]
    public async Task The_page_of_routes_lists_the_trade_interface()
    {
        var document = await app.GetAsync("/openapi/v1.json");
        var offered = from path in document["paths"]!.AsObject()
                      from operation in path.Value!.AsObject()
                      select $"| `{operation.Key.ToUpperInvariant()} {path.Key}`";
        var listed = Page.Split('\n').Where(line => line.Contains(" /api/", StringComparison.Ordinal) && line.StartsWith("| `", StringComparison.Ordinal))
            .Select(line => line[..(line.IndexOf('`', 3) + 1)]);
        Assert.Equal(offered.Order(StringComparer.Ordinal), listed.Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task Every_post_of_the_trade_interface_has_a_worked_example()
    {
        var document = await app.GetAsync("/openapi/v1.json");
        var without = from path in document["paths"]!.AsObject()
                      let body = path.Value!["post"]?["requestBody"]?["content"]?["application/json"] as JsonObject
                      where body is not null && body["example"] is null && body["examples"] is null
                      select path.Key;
        Assert.Empty(without);
    }

    [Fact]
    public void The_page_of_routes_lists_every_type_of_the_registry() =>
        Assert.All(ResourceRegistry.Standard.Kinds, kind => Assert.Contains($"| `{kind.Type}` |", Page, StringComparison.Ordinal));
}
