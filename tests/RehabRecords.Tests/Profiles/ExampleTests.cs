using Hl7.Fhir.Model;

namespace RehabRecords.Tests.ProfilesAndExamples;

/// <summary>Every example validates, every invalid example is refused for the one reason written beside it.</summary>
public class ExampleTests
{
    private static readonly Dictionary<string, string[]> AlsoValidAgainst = new()
    {
        ["ActivityDefinition"] = ["http://hl7.org/fhir/StructureDefinition/shareableactivitydefinition"],
        ["PlanDefinition"] = ["http://hl7.org/fhir/StructureDefinition/shareableplandefinition"],
        ["Composition"] = ["http://hl7.org/fhir/StructureDefinition/clinicaldocument"],
    };

    public static TheoryData<string> ValidNames => [.. ProfileFiles.Valid.Keys];

    public static TheoryData<string> InvalidNames => [.. ProfileFiles.Expected.Keys];

    [Theory]
    [MemberData(nameof(ValidNames))]
    public void A_valid_example_passes_the_base_and_the_profiles_it_claims(string name)
    {
        var example = ProfileFiles.Valid[name];
        Assert.Equal(name, $"{example.TypeName}-{example.Id}");
        Assert.Empty(ProfileFiles.Errors(example));
        foreach (var profile in AlsoValidAgainst.GetValueOrDefault(example.TypeName, []))
            Assert.Empty(ProfileFiles.Errors(example, profile));
    }

    [Theory]
    [MemberData(nameof(InvalidNames))]
    public void An_invalid_example_is_refused_for_exactly_the_reason_stated(string name)
    {
        var expected = ProfileFiles.Expected[name];
        var errors = ProfileFiles.Errors(ProfileFiles.InvalidExample(name), expected.Profile);
        Assert.NotEmpty(errors);
        Assert.All(errors, e =>
        {
            Assert.Contains(expected.MessageContains, e.Message, StringComparison.Ordinal);
            Assert.Equal(expected.Expression, e.Expression);
        });
        Assert.NotEqual("", expected.MessageContains);
    }

    [Fact]
    public void Every_profile_has_an_example_that_is_valid_and_one_that_is_refused()
    {
        var claimed = ProfileFiles.Valid.Values.SelectMany(e => e.Meta?.Profile ?? []).OfType<string>().ToHashSet();
        var refused = ProfileFiles.Expected.Values.Select(e => e.Profile).ToHashSet();
        Assert.All(ProfileFiles.Profiles, p =>
        {
            Assert.Contains(p.Url!, claimed);
            Assert.Contains(p.Url!, refused);
        });
    }

    [Fact]
    public void Every_extension_is_used_by_an_example_and_every_extension_used_is_known()
    {
        var used = ProfileFiles.Valid.Values.SelectMany(Descendants).OfType<Extension>()
            .Select(e => e.Url!).Where(u => u.StartsWith("http", StringComparison.Ordinal)).ToHashSet();
        Assert.Equal(ProfileFiles.ExtensionDefinitions.Select(d => d.Url!).Order(), used.Order());
    }

    [Fact]
    public void Every_code_system_is_used_by_an_example_and_every_code_used_exists_with_its_display()
    {
        var codings = ProfileFiles.Valid.Values.SelectMany(Descendants).OfType<Coding>()
            .Where(c => c.System?.StartsWith(ProfileFiles.Base, StringComparison.Ordinal) == true).ToList();
        foreach (var coding in codings)
        {
            var concept = ProfileFiles.All<CodeSystem>().Single(s => s.Url == coding.System).Concept.SingleOrDefault(c => c.Code == coding.Code);
            Assert.True(concept is not null, $"{coding.Code} is not a code of {coding.System}.");
            if (coding.Display is not null)
                Assert.Equal(concept.Display, coding.Display);
        }

        // These stand in elements of type code, which carry no system; the kind of a statement is a property of its rule.
        string[] asCode = ["side", "grading-direction", "statement-kind", "statement-state"];
        Assert.Equal(
            ProfileFiles.All<CodeSystem>().Select(s => s.Id!).Except(asCode).Order(),
            codings.Select(c => c.System!.Split('/')[^1]).Distinct().Order());
    }

    [Fact]
    public void The_examples_hang_together()
    {
        var known = ProfileFiles.Valid.Values.Select(e => $"{e.TypeName}/{e.Id}").ToHashSet();
        var references = ProfileFiles.Valid.Values.SelectMany(Descendants).OfType<ResourceReference>().Select(r => r.Reference!).ToList();
        Assert.NotEmpty(references);
        Assert.All(references, r => Assert.Contains(r.Split("/_history/")[0], known));
    }

    private static IEnumerable<Base> Descendants(Base element) =>
        element.EnumerateElements().SelectMany(e => e.Value switch
        {
            Base one => [one],
            IEnumerable<Base> many => many,
            _ => Array.Empty<Base>(),
        }).SelectMany(child => Descendants(child).Prepend(child));
}
