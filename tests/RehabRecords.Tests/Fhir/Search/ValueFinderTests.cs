using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Search;

public class ValueFinderTests
{
    /// <summary>Everything else is walked; a new entry here costs time on each write of its type.</summary>
    private static readonly string[] _leftToFhirPath = ["Bundle?composition", "Bundle?message", "Patient?deceased"];

    [Fact]
    public void Only_these_expressions_need_the_FHIRPath_engine() =>
        Assert.Equal(
            _leftToFhirPath,
            TestIndex.Parameters.All.Where(p => !p.IsOwnColumn && !new ValueFinder(p).IsPlain).Select(p => $"{p.Type}?{p.Code}").Order(StringComparer.Ordinal));

    [Fact]
    public void Walking_finds_what_FHIRPath_finds_in_resources_with_every_element_filled()
    {
        var compared = 0;
        foreach (var kind in ResourceRegistry.Standard.Kinds)
        {
            // Each choice of type gets its turn.
            for (var turn = 0; turn < 12; turn++)
            {
                var resource = Filled.Resource(kind.Type, turn);
                compared += Compare(resource);
            }
        }

        Assert.True(compared > 5000, $"Only {compared} values were compared.");
    }

    [Fact]
    public void Walking_finds_what_FHIRPath_finds_in_the_examples()
    {
        var compared = 0;
        foreach (var file in Directory.EnumerateFiles(Path.Combine(Repository.Root, "examples"), "*.json", SearchOption.AllDirectories))
        {
            if (File.ReadAllText(file).Contains("\"resourceType\"", StringComparison.Ordinal) && Read(file) is { } resource && ResourceRegistry.Standard.Has(resource.TypeName))
                compared += Compare(resource);
        }

        Assert.True(compared > 100, $"Only {compared} values were compared.");
    }

    private static Resource? Read(string file)
    {
        try
        {
            return ResourceReader.Trusted<Resource>(File.ReadAllBytes(file));
        }
        catch (InvalidDataException)
        {
            return null;
        }
    }

    private static int Compare(Resource resource)
    {
        var compared = 0;
        foreach (var parameter in TestIndex.Parameters.For(resource.TypeName).Where(p => !p.IsOwnColumn))
        {
            var walked = Rows(new ValueFinder(parameter), resource);
            var evaluated = Rows(new ValueFinder(parameter, byFhirPathOnly: true), resource);
            Assert.True(walked.SequenceEqual(evaluated), $"{resource.TypeName}?{parameter.Code}: {string.Join("; ", walked)} but {string.Join("; ", evaluated)}");
            compared += walked.Count;
        }

        return compared;
    }

    private static List<string> Rows(ValueFinder finder, Resource resource)
    {
        var rows = new IndexRows();
        foreach (var value in finder.Values(resource))
            IndexValues.Add(rows, finder.Parameter, value);
        IEnumerable<object> all =
        [
            .. rows.Tokens.Cast<object>(), .. rows.Dates.Cast<object>(), .. rows.References.Cast<object>(), .. rows.Strings.Cast<object>(),
            .. rows.Quantities.Cast<object>(), .. rows.Uris.Cast<object>(),
        ];
        return [.. all.Select(r => r.ToString()!).Order(StringComparer.Ordinal)];
    }
}
