using System.Globalization;
using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Search;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Rest;

/// <summary>
/// Every search parameter and every inclusion that the CapabilityStatement names is asked for over HTTP, with a value that
/// a stored resource has.
/// </summary>
public sealed class AdvertisedSearchTests(TestApp app, ITestOutputHelper output) : IClassFixture<TestApp>
{
    private const int Turns = 11;

    [Fact]
    public async Task Every_advertised_search_parameter_finds_what_has_its_value()
    {
        var stored = await StoreAsync();
        var definitions = app.Service<DefinitionsPack>();
        var (advertised, finds, taken, faults) = (0, 0, 0, new List<string>());
        foreach (var resource in (await StatementAsync()).Rest[0].Resource.Where(r => stored.ContainsKey(r.Type!)))
        {
            foreach (var parameter in resource.SearchParam)
            {
                advertised++;
                var definition = definitions.Find<SearchParameter>(parameter.Definition!)!;
                var fitting = stored[resource.Type!].Select(s => (Resource: s, Value: FittingValue.Of(s, definition, definitions.Find<SearchParameter>)))
                    .FirstOrDefault(f => f.Value is not null);
                var asked = $"/{resource.Type}?{parameter.Name}={Uri.EscapeDataString(fitting.Value ?? Any(parameter.Type!.Value))}&_count=1000";
                using var response = await app.SendAsync("GET", asked);
                if (response.StatusCode != HttpStatusCode.OK)
                {
                    faults.Add($"{asked} answered {(int)response.StatusCode}: {response.Text()}");
                    continue;
                }

                // Only full, not sensible: what was stored would not be read back by a strict reader.
                var found = (JsonNode.Parse(response.Text())!["entry"]?.AsArray() ?? []).Select(e => (string?)e!["resource"]!["id"]).ToList();
                if (fitting.Value is null)
                    taken++;
                else if (found.Contains(fitting.Resource.Id))
                    finds++;
                else
                    faults.Add($"{asked} does not find {resource.Type}/{fitting.Resource.Id}");
            }
        }

        output.WriteLine($"{advertised} search parameters advertised, {finds} found what has their value, {taken} have no value in any sample and were answered, {faults.Count} failed");
        Assert.True(faults.Count == 0, $"{faults.Count} of {advertised}:\n{string.Join('\n', faults)}");
        Assert.True(finds > advertised * 9 / 10, $"Only {finds} of {advertised} were tried with a value that finds something.");
    }

    [Fact]
    public async Task Every_advertised_inclusion_is_answered()
    {
        var (tried, faults) = (0, new List<string>());
        foreach (var resource in (await StatementAsync()).Rest[0].Resource)
        {
            foreach (var (name, values) in new[] { ("_include", resource.SearchInclude), ("_revinclude", resource.SearchRevInclude) })
            {
                foreach (var value in values)
                {
                    using var response = await app.SendAsync("GET", $"/{resource.Type}?{name}={value}&_count=1");
                    tried++;
                    if (response.StatusCode != HttpStatusCode.OK)
                        faults.Add($"{resource.Type}?{name}={value}: {response.Text()}");
                }
            }
        }

        output.WriteLine($"{tried} inclusions advertised, {faults.Count} failed");
        Assert.True(faults.Count == 0, string.Join('\n', faults));
        Assert.True(tried > 300);
    }

    [Fact]
    public async Task Every_advertised_search_parameter_of_definitions_finds_what_has_its_value()
    {
        var search = app.Service<DefinitionSearch>();
        var (advertised, faults) = (0, new List<string>());
        foreach (var resource in (await StatementAsync()).Rest[0].Resource.Where(r => DefinitionValues.Types.Contains(r.Type)))
        {
            Assert.Equal(DefinitionValues.CodesOf(resource.Type!), resource.SearchParam.Select(p => p.Name!).Order(StringComparer.Ordinal));
            foreach (var parameter in resource.SearchParam)
            {
                advertised++;
                var held = search.Published.OfType(resource.Type!).FirstOrDefault(d => d.Values.ContainsKey(parameter.Name!));
                var value = held is null ? Any(parameter.Type!.Value) : held.Values[parameter.Name!][0].Replace(",", "\\,", StringComparison.Ordinal);
                var asked = $"/{resource.Type}?{parameter.Name}={Uri.EscapeDataString(value)}" + (held is null ? "" : $"&_id={held.Id}");
                using var response = await app.SendAsync("GET", asked);
                if (response.StatusCode != HttpStatusCode.OK || (held is not null && (await response.FhirAsync<Bundle>()).Total != 1))
                    faults.Add($"{asked}: {(int)response.StatusCode} {response.Text()[..Math.Min(300, response.Text().Length)]}");
            }
        }

        output.WriteLine($"{advertised} search parameters of definitions advertised, {faults.Count} failed");
        Assert.True(faults.Count == 0, string.Join('\n', faults));
    }

    private static string Any(SearchParamType kind) => kind switch
    {
        SearchParamType.Date => "2026-01-01",
        SearchParamType.Number or SearchParamType.Quantity => "5",
        SearchParamType.Reference => "Patient/1",
        SearchParamType.Composite => "x$2026",
        _ => "x",
    };

    private async Task<CapabilityStatement> StatementAsync()
    {
        using var response = await app.SendAsync("GET", "/metadata");
        return await response.FhirAsync<CapabilityStatement>();
    }

    /// <summary>Resources with a value in every element, straight into the store: they are not sensible, only full.</summary>
    private async Task<Dictionary<string, List<Resource>>> StoreAsync()
    {
        var stored = new Dictionary<string, List<Resource>>(StringComparer.Ordinal);
        foreach (var kind in ResourceRegistry.Standard.Kinds.Where(k => k.Offers(Interactions.Search)))
        {
            var set = new WriteSet();
            stored[kind.Type] = [];
            for (var turn = 0; turn < Turns; turn++)
            {
                var resource = Filled.Resource(kind.Type, turn);
                resource.Id = "full-" + turn.ToString(CultureInfo.InvariantCulture);
                Unclaimed(resource, turn);
                stored[kind.Type].Add(set.Create(resource));
            }

            await app.Store.CommitAsync(set);
        }

        return stored;
    }

    // Two resources of a type cannot hold the same identifier.
    private static void Unclaimed(Resource resource, int turn)
    {
        if (!resource.TryGetValue("identifier", out var found))
            return;
        var n = 0;
        foreach (var identifier in found switch { Identifier one => [one], IEnumerable<Base> many => many.OfType<Identifier>(), _ => [] })
            identifier.Value = $"value-{turn}-{n++}";
    }
}
