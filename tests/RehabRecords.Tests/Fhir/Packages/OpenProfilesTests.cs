using System.Text;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Fhir.Packages;

/// <summary>
/// Published open profiles as a package, where they are present: IHE Basic Audit Log Patterns and UK Core. Each row is an
/// instance and what must be said about it, or nothing when it conforms.
/// </summary>
public class OpenProfilesTests(ITestOutputHelper output)
{
    private const string Balp = "https://profiles.ihe.net/ITI/BALP/StructureDefinition/IHE.BasicAudit.";
    private const string UkCore = "https://fhir.hl7.org.uk/StructureDefinition/";
    /// <summary>With the open profiles of audit events; null where they are not.</summary>
    internal static readonly Lazy<(DefinitionsPack Pack, ResourceValidator Validator)?> Audit = new(() => Load("balp"));
    private static readonly Lazy<(DefinitionsPack Pack, ResourceValidator Validator)?> British = new(() => Load("uk-core"));

    [Fact]
    public void Every_basic_audit_profile_can_be_used() => AllUsable(Audit.Value, 21, []);

    [Fact]
    public void Every_uk_core_profile_can_be_used_but_for_extensions_of_later_versions_of_fhir() => AllUsable(British.Value, 28, ["http://hl7.org/fhir/5.0/", "http://hl7.org/fhir/6.0/"]);

    [Theory]
    [InlineData("Read", "", null)]
    [InlineData("PatientRead", "", null)]
    [InlineData("Create", "", null)]
    [InlineData("PatientCreate", "", null)]
    [InlineData("Update", "", null)]
    [InlineData("PatientUpdate", "", null)]
    [InlineData("Delete", "", null)]
    [InlineData("PatientDelete", "", null)]
    [InlineData("Query", "", null)]
    [InlineData("PatientQuery", "", null)]
    [InlineData("PrivacyDisclosure.Source", "", null)]
    [InlineData("PrivacyDisclosure.Recipient", "", null)]
    [InlineData("PatientRead", "no patient", "AuditEvent.entity")]
    [InlineData("PatientRead", "failed", "AuditEvent.outcome")]
    [InlineData("PatientRead", "wrong action", "AuditEvent.action")]
    [InlineData("Read", "one agent", "AuditEvent.agent")]
    [InlineData("Read", "roles swapped", "AuditEvent.agent")]
    [InlineData("Create", "no network", "AuditEvent.agent")]
    [InlineData("Update", "wrong subtype", "AuditEvent.subtype")]
    [InlineData("Delete", "no subtype", "AuditEvent.subtype")]
    [InlineData("PatientQuery", "no query", "AuditEvent.entity")]
    [InlineData("PrivacyDisclosure.Source", "another observer", "AuditEvent.agent")]
    [InlineData("PrivacyDisclosure.Source", "no patient", "AuditEvent.entity")]
    [InlineData("PrivacyDisclosure.Recipient", "wrong type", "AuditEvent.type")]
    public void An_audit_event_is_judged_by_its_profile(string profile, string wrong, string? at)
    {
        if (Audit.Value is { } audit)
            Judge(audit.Validator, AuditEvents.Of(Balp + profile, profile, wrong), Balp + profile, at);
        else
            NotRun();
    }

    [Theory]
    [InlineData("UKCore-CarePlan", """{"resourceType":"CarePlan","status":"active","intent":"plan","subject":{"display":"x"}}""", null)]
    [InlineData("UKCore-ServiceRequest", """{"resourceType":"ServiceRequest","status":"active","intent":"order","subject":{"display":"x"}}""", null)]
    [InlineData("UKCore-Procedure", """{"resourceType":"Procedure","status":"completed","subject":{"display":"x"}}""", null)]
    [InlineData("UKCore-Consent", """{"resourceType":"Consent","status":"active","scope":{"text":"x"},"category":[{"text":"x"}],"patient":{"display":"x"},"policyRule":{"text":"x"}}""", null)]
    [InlineData("UKCore-Patient", """{"resourceType":"Patient","identifier":[{"system":"https://fhir.nhs.uk/Id/nhs-number","value":"9000000009","extension":[{"url":"https://fhir.hl7.org.uk/StructureDefinition/Extension-UKCore-NHSNumberVerificationStatus","valueCodeableConcept":{"coding":[{"system":"https://fhir.hl7.org.uk/CodeSystem/UKCore-NHSNumberVerificationStatusEngland","code":"number-present-and-verified"}]}}]}]}""", null)]
    [InlineData("UKCore-Patient", """{"resourceType":"Patient","identifier":[{"system":"https://fhir.nhs.uk/Id/nhs-number"}]}""", "Patient.identifier")]
    [InlineData("UKCore-Observation", """{"resourceType":"Observation","status":"final","code":{"text":"x"},"subject":{"display":"x"},"effectiveDateTime":"2026-01-05","valueString":"x"}""", null)]
    [InlineData("UKCore-Task", """{"resourceType":"Task","status":"requested","intent":"order"}""", null)]
    [InlineData("UKCore-ServiceRequest", """{"resourceType":"ServiceRequest","status":"active","intent":"order","subject":{"display":"x"},"extension":[{"url":"https://fhir.hl7.org.uk/StructureDefinition/Extension-UKCore-SourceOfServiceRequest","valueString":"x"}]}""", "ServiceRequest.extension")]
    public void A_resource_is_judged_by_uk_core(string profile, string json, string? at)
    {
        if (British.Value is { } british)
            Judge(british.Validator, json, UkCore + profile, at);
        else
            NotRun();
    }

    private void AllUsable((DefinitionsPack Pack, ResourceValidator Validator)? loaded, int structures, string[] without)
    {
        if (loaded is not { } found)
        {
            NotRun();
            return;
        }

        foreach (var left in found.Pack.Packages.LeftOut)
            output.WriteLine($"{left.Url}: {left.Reason}");
        Assert.DoesNotContain(found.Pack.Packages.LeftOut, l => !without.Any(w => l.Url.StartsWith(w, StringComparison.Ordinal)));
        var structureCount = found.Pack.Entries.Count(e => e is { Package: not null, Type: "StructureDefinition" });
        output.WriteLine($"{found.Pack.Packages.Packages[0]}, {structureCount} profiles and extensions");
        Assert.Equal(structures, structureCount);
        found.Validator.WarmUp();
    }

    private void Judge(ResourceValidator validator, string json, string profile, string? at)
    {
        var issues = validator.Validate(ResourceReader.Read(Encoding.UTF8.GetBytes(json), FhirFormat.Json), profile);
        foreach (var issue in issues)
            output.WriteLine($"{issue.Severity} {issue.Code} {issue.Expression}: {issue.Message} ({issue.Profile})");
        var errors = issues.Where(i => i.Refuses).ToList();
        if (at is null)
            Assert.Empty(errors);
        else
            Assert.Contains(errors, e => e.Expression.StartsWith(at, StringComparison.Ordinal) && e.Profile is not null);
    }

    private void NotRun() => output.WriteLine("Not run: there is no folder ig with published profiles in REHAB_SHARED or in ../shared beside the checkout.");

    private static (DefinitionsPack, ResourceValidator)? Load(string folder)
    {
        if (PackageFiles.Published(folder) is not { } tgz)
            return null;
        var pack = PackageSetTests.With(tgz);
        return (pack, ResourceValidator.Create(pack));
    }
}
