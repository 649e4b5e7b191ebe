using System.Reflection;
using Hl7.Fhir.Model;
using RehabRecords.Notes;
using RehabRecords.Terms;
using RehabRecords.Tests.Fhir.Definitions;
using OurProfiles = RehabRecords.Terms.Profiles;

namespace RehabRecords.Tests.ProfilesAndExamples;

/// <summary>The constants of the program and the definitions under profiles/ say the same.</summary>
public class TermTests
{
    [Fact]
    public void Every_address_the_program_knows_is_defined()
    {
        var addresses = new[] { typeof(OurProfiles), typeof(Extensions), typeof(Systems) }.SelectMany(Constants)
            .Where(a => a.StartsWith(ProfileFiles.Base, StringComparison.Ordinal)).ToList();
        Assert.NotEmpty(addresses);
        Assert.All(addresses, a => Assert.NotNull(SharedDefinitions.Pack.EntryOf(a)));
    }

    [Fact]
    public void Every_profile_and_extension_has_a_constant() => Assert.Subset(
        Constants(typeof(OurProfiles)).Concat(Constants(typeof(Extensions))).ToHashSet(),
        ProfileFiles.All<StructureDefinition>().Select(d => d.Url!).ToHashSet());

    [Fact]
    public void Every_code_list_holds_exactly_the_codes_of_its_code_system()
    {
        var lists = typeof(CodeLists).GetFields(BindingFlags.Public | BindingFlags.Static).Select(f => f.GetValue(null)).OfType<CodeList>().ToList();
        Assert.NotEmpty(lists);
        Assert.All(lists, l => Assert.Equal(CodesOf(l.System), l.Codes.Order(StringComparer.Ordinal)));
    }

    [Theory]
    [InlineData("session-item", typeof(SessionItem))]
    [InlineData("adherence-item", typeof(AdherenceItem))]
    [InlineData("flag-category", typeof(FlagCategory))]
    [InlineData("measure-status", typeof(MeasureStatus))]
    [InlineData("statement-kind", typeof(StatementKind))]
    [InlineData("statement-state", typeof(RehabRecords.Documents.StatementState))]
    [InlineData("decision-item", typeof(DecisionItem))]
    [InlineData("decision", typeof(DecisionCode))]
    public void Constants_of_a_list_are_exactly_its_codes(string system, Type constants) =>
        Assert.Equal(CodesOf($"{ProfileFiles.Base}/CodeSystem/{system}"), Constants(constants).Order(StringComparer.Ordinal));

    [Fact]
    public void The_rules_of_the_draft_note_are_the_codes_of_note_rule() => Assert.Equal(
        CodesOf(ProfileFiles.Base + "/CodeSystem/note-rule"), NoteRules.OfAllDocuments.Select(r => r.Id).Append(RehabRecords.Documents.NoteStatement.OwnRule).Order(StringComparer.Ordinal));

    [Fact]
    public void The_measures_of_the_catalogue_are_codes_of_measure() => Assert.Subset(
        CodesOf(ProfileFiles.Base + "/CodeSystem/measure").ToHashSet(),
        Clinical.MeasureCatalogue.Default.All.Select(m => m.Id).ToHashSet());

    [Fact]
    public void Every_LOINC_code_of_the_program_is_listed()
    {
        var listed = ProfileFiles.All<ValueSet>().Where(v => v.Id == "loinc-used").SelectMany(ProfileFiles.IncludesOf).SelectMany(i => i.Concept).Select(c => c.Code!).ToHashSet();
        Assert.Subset(listed, Constants(typeof(Loinc)).ToHashSet());
    }

    private static IEnumerable<string> CodesOf(string system) =>
        ProfileFiles.CodesOf(ProfileFiles.All<CodeSystem>().Single(s => s.Url == system)).Order(StringComparer.Ordinal);

    private static IEnumerable<string> Constants(Type type) =>
        type.GetFields(BindingFlags.Public | BindingFlags.Static).Where(f => f.IsLiteral).Select(f => (string)f.GetRawConstantValue()!);
}
