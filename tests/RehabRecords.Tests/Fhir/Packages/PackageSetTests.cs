using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Packages;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;
using RehabRecords.Tests.Fhir.Definitions;
using static RehabRecords.Tests.Fhir.Packages.HandClinic;

namespace RehabRecords.Tests.Fhir.Packages;

public class PackageSetTests
{
    private static readonly Lazy<ResourceValidator> Validator = new(() => ResourceValidator.Create(With(HandClinic.Tgz)));

    [Fact]
    public void Definitions_of_a_package_are_found_with_snapshot_and_expansion()
    {
        var pack = With(HandClinic.Tgz);
        Assert.Equal([new PackageReport("example.hand.clinic#1.0.0", 4, 2)], pack.Packages.Packages);
        Assert.Empty(pack.Packages.LeftOut);
        Assert.True(pack.Find<StructureDefinition>(Pinch)!.Snapshot!.Element.Count > 40);
        Assert.Equal(["tip", "key"], pack.Find<ValueSet>(Canonicals + "ValueSet/grip")!.Expansion!.Contains.Select(c => c.Code));
        Assert.Equal("example.hand.clinic#1.0.0", pack.EntryOf(Pinch + "|1.0.0")!.Package);
        Assert.Null(pack.EntryOf(Pinch + "|2.0.0"));
        Assert.Equal([Pinch], pack.PackageProfiles("Observation").Select(p => p.Url));
        // What it does not touch stays: R4 and our own.
        Assert.Same(pack.TypeDefinition("Observation"), pack.Find("http://hl7.org/fhir/StructureDefinition/Observation"));
        Assert.Equal(SharedDefinitions.Pack.Entries.Count + 4, pack.Entries.Count);
    }

    [Theory]
    [InlineData("good", "true", "tip", "3", null, null)]
    [InlineData("without the extension", null, "tip", "3", "Observation", "extension")]
    [InlineData("a code that is not in the value set", "true", "fist", "3", "Observation.method", "fist")]
    [InlineData("against the rule of the profile", "true", "tip", "-1", "Observation.value", "hc-1")]
    [InlineData("an extension of the wrong type", "\"yes\"", "tip", "3", "Observation.extension[0]", "")]
    public void A_profile_of_a_package_is_checked_and_named(string what, string? splint, string method, string value, string? expression, string? said)
    {
        Assert.NotNull(what);
        IReadOnlyList<Issue> issues;
        try
        {
            issues = Validator.Value.Validate(Read(Observation(splint, method, value)));
        }
        catch (RefusedException refused)
        {
            issues = refused.Issues;
        }

        if (expression is null)
        {
            Assert.DoesNotContain(issues, i => i.Refuses);
            return;
        }

        Assert.Contains(issues, i => i.Refuses && i.Expression.StartsWith(expression, StringComparison.Ordinal) && i.Message.Contains(said!, StringComparison.Ordinal)
            && (i.Profile == Pinch || splint == "\"yes\""));
    }

    [Fact]
    public void A_profile_can_be_named_without_being_claimed()
    {
        var unclaimed = Read(Observation(splint: null, claim: null));
        Assert.DoesNotContain(Validator.Value.Validate(unclaimed), i => i.Refuses);
        Assert.Contains(Validator.Value.Validate(unclaimed, Pinch), i => i.Refuses && i.Profile == Pinch);
    }

    [Fact]
    public void What_a_package_says_of_r4_or_of_our_profiles_is_not_used()
    {
        var ours = SharedDefinitions.Pack.OwnProfiles("Observation").First().Url;
        var pack = With(PackageFiles.Tgz(
            ("p.json", Profile("x", "Patient", "{\"id\":\"Patient.name\",\"path\":\"Patient.name\",\"min\":1}").Replace(Canonicals + "StructureDefinition/x", "http://hl7.org/fhir/StructureDefinition/Patient", StringComparison.Ordinal)),
            ("o.json", Profile("x", "Observation", "{\"id\":\"Observation.method\",\"path\":\"Observation.method\",\"min\":1}").Replace(Canonicals + "StructureDefinition/x", ours, StringComparison.Ordinal))));
        Assert.Equal(2, pack.Packages.LeftOut.Count);
        Assert.Equal(0, pack.Packages.Packages[0].Definitions);
        Assert.Equal(0, pack.TypeDefinition("Patient")!.Snapshot!.Element.Single(e => e.Path == "Patient.name").Min);
    }

    [Theory]
    [InlineData("a profile of nothing", "StructureDefinition/p", "'https://nowhere.example/StructureDefinition/none'", "https://nowhere.example/StructureDefinition/none", "{\"id\":\"Patient.name\",\"path\":\"Patient.name\",\"min\":1}", "")]
    [InlineData("a profile of itself", "StructureDefinition/p", "builds upon itself", "https://hand-clinic.example/fhir/StructureDefinition/p", "{\"id\":\"Patient.name\",\"path\":\"Patient.name\",\"min\":1}", "")]
    [InlineData("a required extension that is nowhere", "StructureDefinition/p", "'https://nowhere.example/ext'", null, "{\"id\":\"Patient.extension:a\",\"path\":\"Patient.extension\",\"sliceName\":\"a\",\"min\":1,\"type\":[{\"code\":\"Extension\",\"profile\":[\"https://nowhere.example/ext\"]}]}", "")]
    [InlineData("an element that R4 does not have", "StructureDefinition/p", "Patient.shoeSize", null, "{\"id\":\"Patient.shoeSize\",\"path\":\"Patient.shoeSize\",\"min\":1}", "")]
    [InlineData("a rule that is no FHIRPath", "StructureDefinition/p", "pp-1", null, "{\"id\":\"Patient\",\"path\":\"Patient\",\"constraint\":[{\"key\":\"pp-1\",\"severity\":\"error\",\"human\":\"x\",\"expression\":\"name.exists( and\"}]}", "")]
    [InlineData("a rule of ten thousand brackets", "StructureDefinition/p", "characters", null, "{\"id\":\"Patient\",\"path\":\"Patient\",\"constraint\":[{\"key\":\"pp-1\",\"severity\":\"error\",\"human\":\"x\",\"expression\":\"BRACKETS\"}]}", "")]
    [InlineData("a path without end", "StructureDefinition/p", "deeper than", null, "{\"id\":\"Patient.name\",\"path\":\"Patient.DEEP\",\"min\":1}", "")]
    [InlineData("a value that R4 does not allow", "p.json", "StructureDefinition.differential.element[0].min", null, "{\"id\":\"Patient.name\",\"path\":\"Patient.name\",\"min\":\"one\"}", "")]
    [InlineData("one that imposes itself", "StructureDefinition/p", "builds upon itself", null, "{\"id\":\"Patient.name\",\"path\":\"Patient.name\",\"min\":1}",
        "\"extension\":[{\"url\":\"http://hl7.org/fhir/StructureDefinition/structuredefinition-imposeProfile\",\"valueCanonical\":\"https://hand-clinic.example/fhir/StructureDefinition/p\"}],")]
    public void A_definition_that_cannot_be_used_is_left_out_with_the_reason(string what, string url, string reason, string? basis, string differential, string more)
    {
        differential = differential.Replace("DEEP", string.Join('.', Enumerable.Repeat("name", 50)), StringComparison.Ordinal)
            .Replace("BRACKETS", new string('(', 10_000), StringComparison.Ordinal);
        var pack = With(PackageFiles.Tgz([.. HandClinic.Files, ("p.json", Profile("p", "Patient", differential, basis, more))]));
        var left = Assert.Single(pack.Packages.LeftOut);
        Assert.EndsWith(url, left.Url, StringComparison.Ordinal);
        Assert.True(left.Reason.Contains(reason, StringComparison.Ordinal), $"{what}: {left.Reason}");
        // The rest of the package is used all the same.
        Assert.NotNull(pack.EntryOf(Pinch));
        Assert.Null(pack.EntryOf(Canonicals + "StructureDefinition/p"));
    }

    [Fact]
    public void Who_claims_a_profile_that_was_left_out_is_told_why()
    {
        using var validator = ResourceValidator.Create(With(PackageFiles.Tgz(("p.json", Profile("p", "Patient", "{\"id\":\"Patient.shoeSize\",\"path\":\"Patient.shoeSize\",\"min\":1}")))));
        var issue = Assert.Single(validator.Validate(new Patient { Active = true, Meta = new() { Profile = [Canonicals + "StructureDefinition/p"] } }), i => i.Refuses);
        Assert.Contains("example.hand.clinic#1.0.0", issue.Message, StringComparison.Ordinal);
        Assert.Equal("Patient.meta.profile", issue.Expression);
        Assert.Contains("shoeSize", Assert.Single(validator.Validate(new Patient { Active = true }, Canonicals + "StructureDefinition/p")).Message, StringComparison.Ordinal);
    }

    [Fact]
    public void A_profile_is_used_without_an_optional_extension_that_is_nowhere()
    {
        const string Nowhere = "http://hl7.org/fhir/5.0/StructureDefinition/extension-Patient.shoeSize";
        var pack = With(PackageFiles.Tgz(("p.json", Profile("p", "Patient",
            "{\"id\":\"Patient.extension:a\",\"path\":\"Patient.extension\",\"sliceName\":\"a\",\"type\":[{\"code\":\"Extension\",\"profile\":[\"" + Nowhere + "\"]}]},"
            + "{\"id\":\"Patient.name\",\"path\":\"Patient.name\",\"min\":1}"))));
        Assert.Equal(Nowhere, Assert.Single(pack.Packages.LeftOut).Url);
        using var validator = ResourceValidator.Create(pack);
        var named = new Patient { Name = [new() { Family = "Sampleton" }] };
        Assert.DoesNotContain(validator.Validate(named, Canonicals + "StructureDefinition/p"), i => i.Refuses);
        Assert.Contains(validator.Validate(new Patient { Active = true }, Canonicals + "StructureDefinition/p"), i => i.Refuses && i.Expression == "Patient.name");
        named.Extension.Add(new Extension(Nowhere, new FhirString("44")));
        Assert.Contains(validator.Validate(named), i => i.Refuses && i.Expression == "Patient.extension[0]");
    }

    [Fact]
    public void Value_sets_that_include_each_other_are_left_out()
    {
        var pack = With(PackageFiles.Tgz(("a.json", Set("a", "b")), ("b.json", Set("b", "a")), ("c.json", Set("c", "http://hl7.org/fhir/ValueSet/help"))));
        Assert.Equal(["ValueSet/a", "ValueSet/b"], pack.Packages.LeftOut.Select(l => l.Url[Canonicals.Length..]).Order(StringComparer.Ordinal));

        static string Set(string id, string other) =>
            $$$"""{"resourceType":"ValueSet","url":"{{{Canonicals}}}ValueSet/{{{id}}}","status":"active","compose":{"include":[{"valueSet":["{{{(other.Contains(':', StringComparison.Ordinal) ? other : Canonicals + "ValueSet/" + other)}}}"]}]}}""";
    }

    [Fact]
    public void Of_two_versions_the_newer_is_meant_unless_one_is_named()
    {
        var pack = With(
            PackageFiles.Tgz("""{"name":"a","version":"1"}""", [("e.json", Extension("e", "1.9.0"))]),
            PackageFiles.Tgz("""{"name":"b","version":"1"}""", [("e.json", Extension("e", "1.10.0"))]),
            PackageFiles.Tgz("""{"name":"c","version":"1"}""", [("e.json", Extension("e", "1.10.0"))]));
        Assert.Equal("1.10.0", pack.EntryOf(Canonicals + "StructureDefinition/e")!.Version);
        Assert.Equal("a#1", pack.EntryOf(Canonicals + "StructureDefinition/e|1.9.0")!.Package);
        Assert.Equal("c#1", Assert.Single(pack.Packages.LeftOut).Package);
    }

    [Theory]
    [InlineData("1.0.0", "1.0.0-ballot", 1)]
    [InlineData("1.10.0", "1.9.0", 1)]
    [InlineData("1.0", "1.0.1", -1)]
    [InlineData(null, "0", -1)]
    [InlineData("2", "2", 0)]
    public void Versions_have_an_order(string? one, string? other, int order)
    {
        Assert.Equal(order, Math.Sign(VersionOrder.Instance.Compare(one, other)));
        Assert.Equal(-order, Math.Sign(VersionOrder.Instance.Compare(other, one)));
    }

    [Fact]
    public void A_folder_is_read_or_refused_as_a_whole()
    {
        var folder = PackageFiles.Folder(("b.tgz", HandClinic.Tgz), ("readme.txt", [1]));
        try
        {
            using var pack = DefinitionsPack.Open(packagesFolder: folder);
            Assert.NotNull(pack.EntryOf(Pinch));
            File.WriteAllBytes(Path.Combine(folder, "c.tgz"), HandClinic.Tgz);
            Assert.Contains("b.tgz and in ", Refused(folder), StringComparison.Ordinal);
            File.WriteAllBytes(Path.Combine(folder, "c.tgz"), [1, 2, 3]);
            Assert.Contains("c.tgz", Refused(folder), StringComparison.Ordinal);
            Assert.Contains("no packages folder", Refused(Path.Combine(folder, "none")), StringComparison.Ordinal);
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }

        static string Refused(string folder) => Assert.Throws<PackageUnusableException>(() => DefinitionsPack.Open(packagesFolder: folder)).Message;
    }

    internal static DefinitionsPack With(params byte[][] packages) =>
        SharedDefinitions.Pack.With(PackageSet.Of([.. packages.Select((p, i) => FhirPackage.Read($"{i}.tgz", p, PackageLimits.Default))], SharedDefinitions.Pack));

    private static Resource Read(string json) => ResourceReader.Read(System.Text.Encoding.UTF8.GetBytes(json), FhirFormat.Json);
}
