using System.Net;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Tests.Fhir.Packages;

namespace RehabRecords.Tests.Rest;

/// <summary>A service with a packages folder, over HTTP.</summary>
public sealed class PackagesTests(PackagesTests.AppWithPackages app) : IClassFixture<PackagesTests.AppWithPackages>
{
    [Fact]
    public async Task A_profile_of_a_package_is_asked_for_by_name()
    {
        Assert.Empty(Errors(await JudgeAsync("/Observation/$validate?profile=" + Uri.EscapeDataString(HandClinic.Pinch), HandClinic.Observation())));
        var error = Assert.Single(Errors(await JudgeAsync("/Observation/$validate?profile=" + Uri.EscapeDataString(HandClinic.Pinch + "|1.0.0"), HandClinic.Observation(value: "-1", claim: null))));
        Assert.Contains("hc-1", error.Diagnostics, StringComparison.Ordinal);
        Assert.Contains(HandClinic.Pinch, error.Diagnostics, StringComparison.Ordinal);
        Assert.Equal(HandClinic.Pinch, error.GetExtensionValue<FhirUri>("http://hl7.org/fhir/StructureDefinition/operationoutcome-authority")!.Value!.Split('|')[0]);
        Assert.StartsWith("Observation.value", error.Expression.First(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_claims_a_profile_of_a_package_is_stored_only_if_it_keeps_it()
    {
        using (var stored = await app.SendAsync("POST", "/Observation", HandClinic.Observation()))
            Assert.Equal(HttpStatusCode.Created, stored.StatusCode);
        using var refused = await app.SendAsync("POST", "/Observation", HandClinic.Observation(method: "fist"));
        await refused.RefusedAsync(422, "fist");
    }

    [Theory]
    [InlineData("https://hand-clinic.example/fhir/StructureDefinition/grasp")]
    [InlineData("https://hand-clinic.example/fhir/StructureDefinition/pinch|9.0.0")]
    public async Task A_profile_that_is_not_there_is_named(string profile)
    {
        using (var judged = await app.SendAsync("POST", "/Observation/$validate?profile=" + Uri.EscapeDataString(profile), HandClinic.Observation()))
            await judged.RefusedAsync(422, profile);
        using var claimed = await app.SendAsync("POST", "/Observation", HandClinic.Observation(claim: profile));
        await claimed.RefusedAsync(422, profile);
    }

    [Fact]
    public async Task The_statement_names_the_profiles_of_the_package_beside_ours()
    {
        using var response = await app.SendAsync("GET", "/metadata");
        var statement = await response.FhirAsync<CapabilityStatement>();
        var expected = app.Service<DefinitionsPack>().PackageProfiles().ToList();
        Assert.Contains(expected, p => p.Url == HandClinic.Pinch);
        foreach (var resource in statement.Rest[0].Resource)
        {
            var told = resource.SupportedProfile.Select(p => p!.Split('|')[0]).Where(p => p.StartsWith("https://hand-clinic.example/", StringComparison.Ordinal)).Distinct();
            Assert.Equal(expected.Where(p => p.Of == resource.Type).Select(p => p.Url).Distinct().Order(StringComparer.Ordinal), told.Order(StringComparer.Ordinal));
        }
        // Every one that is told can be asked for in those very words.
        foreach (var profile in statement.Rest[0].Resource.Single(r => r.Type == "Observation").SupportedProfile)
            using (var judged = await app.SendAsync("POST", "/Observation/$validate?profile=" + Uri.EscapeDataString(profile!), HandClinic.Observation()))
                Assert.Equal(HttpStatusCode.OK, judged.StatusCode);
    }

    private static IEnumerable<OperationOutcome.IssueComponent> Errors(OperationOutcome outcome) =>
        outcome.Issue.Where(i => i.Severity is OperationOutcome.IssueSeverity.Error or OperationOutcome.IssueSeverity.Fatal);

    private async Task<OperationOutcome> JudgeAsync(string path, string body)
    {
        using var response = await app.SendAsync("POST", path, body);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        return await response.FhirAsync<OperationOutcome>();
    }

    public sealed class AppWithPackages : TestApp
    {
        public AppWithPackages() => Settings["RehabRecords:PackagesFolder"] = PackageFiles.Folder(("hand-clinic.tgz", HandClinic.Tgz));
    }
}
