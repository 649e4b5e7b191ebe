using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Packages;
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
        if (OpenProfilesTests.Audit.Value is not var (_, validator))
        {
            output.WriteLine("Not run: there is no ig/balp folder in REHAB_SHARED or in ../shared beside the checkout.");
            return;
        }

        var (person, programme) = await teams.PrescribedAsync();
        var answer = await Teams.TakeInAsync(teams.There, await Teams.HandOverAsync(teams.Here, programme, Teams.Community));
        foreach (var (app, about, side) in new[] { ((TestApp)teams.Here, $"Patient/{person}", "Source"), (teams.There, (string)answer["person"]!, "Recipient") })
        {
            var kept = (await app.Store.FindAllAsync<AuditEvent>($"entity={about}")).Single();
            Assert.DoesNotContain(validator.Validate(kept, Profile + side), i => i.Refuses);
            // It is the profile that decides: without the recipient it is not one.
            kept.Agent.RemoveAt(1);
            Assert.Contains(validator.Validate(kept, Profile + side), i => i.Refuses);
        }
    }
}
