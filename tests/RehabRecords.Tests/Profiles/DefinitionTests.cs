using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Snapshot;
using Hl7.Fhir.Specification.Source;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.ProfilesAndExamples;

/// <summary>What every definition under profiles/ must be, whatever it defines.</summary>
public partial class DefinitionTests
{
    public static TheoryData<string> Urls => [.. ProfileFiles.Definitions.Cast<IConformanceResource>().Select(d => d.Url!)];

    public static TheoryData<string> StructureUrls => [.. ProfileFiles.All<StructureDefinition>().Select(d => d.Url!)];

    [Theory]
    [MemberData(nameof(Urls))]
    public void A_definition_says_who_publishes_it_what_it_is_for_its_version_and_status(string url)
    {
        var definition = Named(url);
        Assert.Equal($"{ProfileFiles.Base}/{definition.TypeName}/{definition.Id}", url);
        var conformance = (IVersionableConformanceResource)definition;
        Assert.Equal("0.1.0", conformance.Version);
        Assert.Equal(PublicationStatus.Active, conformance.Status);
        Assert.Equal("RehabRecords", conformance.Publisher);
        Assert.False(conformance.Experimental ?? true);
        Assert.True(conformance.Description?.Length > 15, $"{url} needs a description.");
        Assert.Matches(ComputerName(), conformance.Name);
        Assert.True(File.Exists(Path.Combine(Repository.Root, "profiles", $"{definition.TypeName}-{definition.Id}.json")));
    }

    [Theory]
    [MemberData(nameof(Urls))]
    public void A_definition_is_itself_valid(string url) => Assert.Empty(ProfileFiles.Errors(Named(url)));

    [Theory]
    [MemberData(nameof(StructureUrls))]
    public async Task A_snapshot_is_generated_without_issues(string url)
    {
        var resolver = new CachedResolver(new MultiResolver(new InMemoryResourceResolver(ProfileFiles.Definitions), SharedDefinitions.Pack));
        var generator = new SnapshotGenerator(resolver, SnapshotGeneratorSettings.CreateDefault());
        var definition = (StructureDefinition)Named(url).DeepCopy();
        await generator.UpdateAsync(definition);
        Assert.Empty(generator.Outcome?.Issue ?? []);
        Assert.NotEmpty(definition.Snapshot?.Element ?? []);
    }

    [Theory]
    [MemberData(nameof(StructureUrls))]
    public void A_rule_of_ours_has_a_key_a_sentence_and_a_short_expression(string url)
    {
        foreach (var rule in ProfileFiles.ElementsOf((StructureDefinition)Named(url)).SelectMany(e => e.Constraint))
        {
            Assert.StartsWith("rr-", rule.Key!, StringComparison.Ordinal);
            Assert.Equal(ConstraintSeverity.Error, rule.Severity);
            Assert.EndsWith(".", rule.Human!, StringComparison.Ordinal);
            Assert.InRange(rule.Expression!.Length, 1, 299);
        }
    }

    [Fact]
    public void The_profiles_of_the_mapping_are_there() => Assert.Equal(
        ["adherence-summary", "discharge-form", "discharge-summary", "document-signature", "exercise", "exercise-result", "goal", "home-link", "measure-result", "prescribed-exercise", "programme", "programme-template",
            "progress-note", "progress-note-document", "progression-decision", "session", "transfer-letter"],
        ProfileFiles.Profiles.Select(p => p.Id).Order(StringComparer.Ordinal));

    [Fact]
    public void Every_code_of_a_code_system_has_a_display_and_a_definition() => Assert.All(
        ProfileFiles.All<CodeSystem>().SelectMany(s => s.Concept),
        c => Assert.True(c.Display?.Length > 0 && c.Definition?.Length > 0, $"{c.Code} lacks display or definition."));

    [Fact]
    public void A_value_set_lists_only_codes_that_exist()
    {
        foreach (var include in ProfileFiles.All<ValueSet>().SelectMany(ProfileFiles.IncludesOf).Where(i => i.System!.StartsWith(ProfileFiles.Base, StringComparison.Ordinal)))
        {
            var system = Assert.Single(ProfileFiles.All<CodeSystem>(), s => s.Url == include.System);
            Assert.Subset(ProfileFiles.CodesOf(system), include.Concept.Select(c => c.Code!).ToHashSet());
        }
    }

    [Fact]
    public void Every_value_set_and_profile_that_a_definition_names_is_known()
    {
        var elements = ProfileFiles.All<StructureDefinition>().SelectMany(ProfileFiles.ElementsOf).ToList();
        var named = elements.Select(e => e.Binding?.ValueSet)
            .Concat(elements.SelectMany(e => e.Type).SelectMany(t => t.Profile.Concat(t.TargetProfile)))
            .Concat(ProfileFiles.All<CodeSystem>().Select(s => s.ValueSet))
            .OfType<string>().Distinct().ToList();
        Assert.NotEmpty(named);
        Assert.All(named, url => Assert.NotNull(SharedDefinitions.Pack.EntryOf(url)));
    }

    [Theory]
    [InlineData("exercise-result")]
    [InlineData("measure-result")]
    [InlineData("progress-note")]
    [InlineData("discharge-summary")]
    [InlineData("transfer-letter")]
    public void A_profile_that_names_LOINC_codes_carries_the_LOINC_notice(string id) => Assert.Contains(
        "copyright © 1995-2020, Regenstrief Institute", ProfileFiles.Profiles.Single(p => p.Id == id).Copyright!, StringComparison.Ordinal);

    private static Resource Named(string url) => ProfileFiles.Definitions.Single(d => ((IConformanceResource)d).Url == url);

    [GeneratedRegex("^[A-Z]([A-Za-z0-9_]){0,254}$")]
    private static partial Regex ComputerName();
}
