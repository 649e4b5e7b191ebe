using Firely.Fhir.Validation;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Hl7.Fhir.Specification.Source;
using Hl7.Fhir.Specification.Terminology;
using RehabRecords.Fhir.Store;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Exchange;

/// <summary>
/// The audit of a disclosure against IHE's profile for it, read from a folder ig/balp in the folder REHAB_SHARED or in
/// ../shared beside the checkout, when there is one.
/// </summary>
public class AuditProfileTests(Teams teams, ITestOutputHelper output) : IClassFixture<Teams>
{
    private const string Profile = "https://profiles.ihe.net/ITI/BALP/StructureDefinition/IHE.BasicAudit.PrivacyDisclosure.";

    [Fact]
    public async System.Threading.Tasks.Task A_disclosure_is_a_Privacy_Disclosure_of_basic_audit_on_both_sides()
    {
        var folder = Path.Combine(Environment.GetEnvironmentVariable("REHAB_SHARED") ?? Path.Combine(Repository.Root, "..", "shared"), "ig", "balp");
        if (!Directory.Exists(folder))
        {
            output.WriteLine("Not run: there is no ig/balp folder in REHAB_SHARED or in ../shared beside the checkout.");
            return;
        }

        var definitions = Directory.EnumerateFiles(folder, "*.json").Select(f => new FhirJsonDeserializer().DeserializeResource(File.ReadAllText(f))).ToArray();
        var resolver = new CachedResolver(new SnapshotSource(new CachedResolver(new MultiResolver(new InMemoryResourceResolver(definitions), TestApp.SharedPack))));
        var validator = new Validator(resolver, new LocalTerminologyService(resolver), null, new ValidationSettings());
        var (person, programme) = await teams.PrescribedAsync();
        var answer = await Teams.TakeInAsync(teams.There, await Teams.HandOverAsync(teams.Here, programme, Teams.Community));
        foreach (var (app, about, side) in new[] { ((TestApp)teams.Here, $"Patient/{person}", "Source"), (teams.There, (string)answer["person"]!, "Recipient") })
        {
            var kept = (await app.Store.FindAllAsync<AuditEvent>($"entity={about}")).Single();
            var said = validator.Validate(kept, Profile + side);
            Assert.True(said.Success, side + "\n" + said);
            // It is the profile that decides: without the recipient it is not one.
            kept.Agent.RemoveAt(1);
            Assert.False(validator.Validate(kept, Profile + side).Success);
        }
    }
}
