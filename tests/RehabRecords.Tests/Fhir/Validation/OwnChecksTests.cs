using System.Text;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.Fhir.Validation;

/// <summary>What the profile validator leaves open: each rule with what it refuses and what stays allowed.</summary>
public class OwnChecksTests
{
    private const string Code = "\"code\":{\"text\":\"x\"}";
    private const string Observation = "{\"resourceType\":\"Observation\",\"status\":\"final\"," + Code;
    private const string Patient = "{\"resourceType\":\"Patient\",\"active\":true";
    private const string Base = "https://rehabrecords.example/fhir/StructureDefinition/";

    [Theory]
    // The rule, the resource, the element named, words of the message.
    [InlineData("unit", Observation + ",\"valueQuantity\":{\"value\":1,\"unit\":\"floops\",\"system\":\"http://unitsofmeasure.org\",\"code\":\"floops\"}}", "Observation.value", "floops is not UCUM")]
    [InlineData("unit without code", Observation + ",\"valueQuantity\":{\"value\":1,\"system\":\"http://unitsofmeasure.org\"}}", "Observation.value", "no code")]
    [InlineData("unit inside a component", Observation + ",\"component\":[{" + Code + ",\"valueQuantity\":{\"value\":1,\"system\":\"http://unitsofmeasure.org\",\"code\":\"secs\"}}]}", "Observation.component[0].value", "secs")]
    [InlineData("reference type", "{\"resourceType\":\"CarePlan\",\"status\":\"active\",\"intent\":\"plan\",\"subject\":{\"reference\":\"Patient/1\"},\"activity\":[{\"reference\":{\"reference\":\"Observation/1\"}}]}", "CarePlan.activity[0].reference", "points at a Observation")]
    [InlineData("reference type of suspectEntity", "{\"resourceType\":\"AdverseEvent\",\"actuality\":\"actual\",\"subject\":{\"reference\":\"Patient/1\"},\"suspectEntity\":[{\"instance\":{\"reference\":\"ServiceRequest/1\"}}]}", "AdverseEvent.suspectEntity[0].instance", "only Device, Immunization")]
    [InlineData("reference type of performer", Observation + ",\"performer\":[{\"reference\":\"Device/1\"}]}", "Observation.performer[0]", "points at a Device")]
    [InlineData("reference type of partOf", Observation + ",\"partOf\":[{\"reference\":\"CarePlan/1\"}]}", "Observation.partOf[0]", "points at a CarePlan")]
    [InlineData("reference type of a version", Observation + ",\"subject\":{\"reference\":\"Observation/1/_history/2\"}}", "Observation.subject", "points at a Observation")]
    [InlineData("reference type of an absolute address", Observation + ",\"subject\":{\"reference\":\"https://other.example/fhir/Observation/1\"}}", "Observation.subject", "points at a Observation")]
    [InlineData("reference type by identifier", Observation + ",\"subject\":{\"type\":\"Observation\",\"identifier\":{\"value\":\"1\"}}}", "Observation.subject", "points at a Observation")]
    [InlineData("reference type inside a datatype", Observation + ",\"note\":[{\"authorReference\":{\"reference\":\"Observation/1\"},\"text\":\"x\"}]}", "Observation.note[0].author", "points at a Observation")]
    [InlineData("reference type in a nested action", "{\"resourceType\":\"RequestGroup\",\"status\":\"active\",\"intent\":\"plan\",\"action\":[{\"action\":[{\"participant\":[{\"reference\":\"Observation/1\"}],\"resource\":{\"reference\":\"Task/1\"}}]}]}", "RequestGroup.action[0].action[0].participant[0]", "points at a Observation")]
    [InlineData("reference type in an extension", Patient + ",\"extension\":[{\"url\":\"http://hl7.org/fhir/StructureDefinition/resource-pertainsToGoal\",\"valueReference\":{\"reference\":\"Patient/1\"}}]}", "Patient.extension[0].value", "points at a Patient")]
    [InlineData("type said and named differ", Observation + ",\"subject\":{\"type\":\"Group\",\"reference\":\"Patient/1\"}}", "Observation.subject", "its type is Group")]
    [InlineData("no such contained resource", Observation + ",\"subject\":{\"reference\":\"#nobody\"}}", "Observation.subject", "no contained resource")]
    [InlineData("unknown extension", Patient + ",\"extension\":[{\"url\":\"https://other.example/colour\",\"valueString\":\"red\"}]}", "Patient.extension[0]", "Unknown extension https://other.example/colour")]
    [InlineData("unknown modifier extension", Patient + ",\"modifierExtension\":[{\"url\":\"https://other.example/not\",\"valueBoolean\":true}]}", "Patient.modifierExtension[0]", "Unknown modifier extension")]
    [InlineData("relative extension url", Patient + ",\"extension\":[{\"url\":\"colour\",\"valueString\":\"red\"}]}", "Patient.extension[0]", "not absolute")]
    [InlineData("unknown part of an extension", Patient + ",\"extension\":[{\"url\":\"" + Base + "rehabilitation-context\",\"extension\":[{\"url\":\"shoeSize\",\"valueInteger\":43}]}]}", "Patient.extension[0].extension[0]", "no part named shoeSize")]
    [InlineData("implicit rules", "{\"resourceType\":\"Patient\",\"implicitRules\":\"https://other.example/rules\",\"active\":true}", "Patient", "implicitRules")]
    [InlineData("unknown profile", "{\"resourceType\":\"Patient\",\"meta\":{\"profile\":[\"https://other.example/p\"]},\"active\":true}", "Patient.meta.profile", "https://other.example/p")]
    [InlineData("profile of another type", "{\"resourceType\":\"Patient\",\"meta\":{\"profile\":[\"" + Base + "session\"]},\"active\":true}", "Patient.meta.profile", "a profile of Procedure")]
    [InlineData("reference that is no address", "{\"resourceType\":\"Procedure\",\"status\":\"completed\",\"subject\":{\"reference\":\"a|b|c\"}}", "Procedure.subject", "neither Type/id nor")]
    [InlineData("profile in another version", "{\"resourceType\":\"Procedure\",\"meta\":{\"profile\":[\"" + Base + "session|7\"]},\"status\":\"completed\",\"subject\":{\"reference\":\"Patient/1\"}}", "Procedure.meta.profile", "not known here")]
    [InlineData("script in a text", "{\"resourceType\":\"Patient\",\"name\":[{\"text\":\"Ann <script>x</script>\"}]}", "Patient.name[0].text", "<script>")]
    [InlineData("a picture in a note", Observation + ",\"note\":[{\"text\":\"see <img src='x' onerror='y'>\"}]}", "Observation.note[0].text", "<img")]
    [InlineData("attachment shorter than it says", "{\"resourceType\":\"Patient\",\"photo\":[{\"contentType\":\"image/png\",\"data\":\"AAAA\",\"size\":4}]}", "Patient.photo[0]", "says it has 4 bytes")]
    [InlineData("attachment of another digest", "{\"resourceType\":\"Patient\",\"photo\":[{\"contentType\":\"image/png\",\"data\":\"AAAA\",\"hash\":\"AAAA\"}]}", "Patient.photo[0]", "SHA-1")]
    [InlineData("a bold tag", Observation + ",\"note\":[{\"text\":\"<b>no</b>\"}]}", "Observation.note[0].text", "<b>")]
    [InlineData("a link in a text", Observation + ",\"note\":[{\"text\":\"<a href='x'>no</a>\"}]}", "Observation.note[0].text", "<a href")]
    [InlineData("a slip among parameters", "{\"resourceType\":\"Parameters\",\"parameter\":[{\"name\":\"p\",\"resource\":{\"resourceType\":\"Patient\",\"id\":\"1\",\"active\":true}},{\"name\":\"o\",\"resource\":{\"resourceType\":\"Observation\",\"id\":\"2\",\"status\":\"final\"," + Code + ",\"subject\":{\"reference\":\"Patient/2\"}}}]}", "Parameters.parameter[1].resource.subject", "names none of the resources")]
    [InlineData("consent without patient", "{\"resourceType\":\"Consent\",\"status\":\"active\",\"scope\":{\"coding\":[{\"system\":\"http://terminology.hl7.org/CodeSystem/consentscope\",\"code\":\"patient-privacy\"}]},\"category\":[{\"text\":\"x\"}],\"policyRule\":{\"text\":\"x\"}}", "Consent", "names no patient")]
    public void Is_refused(string rule, string body, string expression, string message)
    {
        var issues = Validate(body);
        Assert.True(
            issues.Any(i => i.Refuses && i.Expression == expression && i.Message.Contains(message, StringComparison.Ordinal)),
            $"{rule}: {string.Join("; ", issues)}");
    }

    [Theory]
    [InlineData("a unit annotation", Observation + ",\"valueQuantity\":{\"value\":1,\"system\":\"http://unitsofmeasure.org\",\"code\":\"{score}\"}}")]
    [InlineData("a unit of another system", Observation + ",\"valueQuantity\":{\"value\":1,\"system\":\"https://other.example/units\",\"code\":\"floops\"}}")]
    [InlineData("a person, device or group as subject", Observation + ",\"subject\":{\"reference\":\"Group/1\"}}")]
    [InlineData("any type where R4 allows any", Observation + ",\"focus\":[{\"reference\":\"CarePlan/1\"}]}")]
    [InlineData("a contained subject", "{\"resourceType\":\"Observation\",\"contained\":[{\"resourceType\":\"Patient\",\"id\":\"p\",\"active\":true}],\"status\":\"final\"," + Code + ",\"subject\":{\"reference\":\"#p\"}}")]
    [InlineData("an extension of R4", Patient + ",\"extension\":[{\"url\":\"http://hl7.org/fhir/StructureDefinition/patient-birthPlace\",\"valueAddress\":{\"city\":\"X\"}}]}")]
    [InlineData("an extension of ours", Patient + ",\"extension\":[{\"url\":\"" + Base + "rehabilitation-context\",\"extension\":[{\"url\":\"affectedSide\",\"valueCode\":\"left\"}]}]}")]
    [InlineData("less-than signs in a text", Observation + ",\"note\":[{\"text\":\"pain <3, then > 2; asked <name> again; a<b and c>d\"}]}")]
    [InlineData("an attachment as long as it says", "{\"resourceType\":\"Patient\",\"photo\":[{\"contentType\":\"image/png\",\"data\":\"AAAA\",\"size\":3,\"hash\":\"KeLc+7FvY7sCVN91haFbtvtekn0=\"}]}")]
    public void Is_accepted(string what, string body)
    {
        var issues = Validate(body).Where(i => i.Refuses).ToList();
        Assert.True(issues.Count == 0, $"{what}: {string.Join("; ", issues)}");
    }

    [Fact]
    public void An_unlisted_loinc_code_is_refused_where_our_profile_asks()
    {
        var good = Encoding.UTF8.GetString(File.ReadAllBytes(Path.Combine(Repository.Root, "examples", "Observation-pegs-result.json")));
        Assert.Contains("72514-3", good, StringComparison.Ordinal);
        Assert.DoesNotContain(Validate(good), i => i.Refuses);
        var issues = Validate(good.Replace("72514-3", "38208-5", StringComparison.Ordinal));
        Assert.Contains(issues, i => i.Refuses && i.Message.Contains("38208-5 is not among", StringComparison.Ordinal) && i.Profile!.EndsWith("/exercise-result", StringComparison.Ordinal));
    }

    [Fact]
    public void A_reference_our_profile_narrows_is_refused_naming_the_profile()
    {
        var good = Encoding.UTF8.GetString(File.ReadAllBytes(Path.Combine(Repository.Root, "examples", "Observation-pegs-result.json")));
        var bad = System.Text.RegularExpressions.Regex.Replace(good, "(\"subject\":\\s*\\{\"reference\": ?\")Patient/", "$1Group/");
        Assert.NotEqual(good, bad);
        Assert.Contains(Validate(bad), i => i.Refuses && i.Expression == "Observation.subject" && i.Profile is not null);
    }

    [Fact]
    public void A_narrative_that_never_passed_the_reader_is_checked_too()
    {
        var patient = new Hl7.Fhir.Model.Patient { Text = new() { Status = Hl7.Fhir.Model.Narrative.NarrativeStatus.Generated } };
        patient.Text.Div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><a href=\"javascript:x\">a</a></div>";
        Assert.Contains(SharedDefinitions.Validator.Validate(patient), i => i.Refuses && i.Expression == "Patient.text.div" && i.Message.Contains("javascript:x", StringComparison.Ordinal));
    }

    [Fact]
    public void An_unknown_profile_asked_for_is_told()
    {
        var issues = SharedDefinitions.Validator.Validate(new Hl7.Fhir.Model.Patient { Active = true }, "https://other.example/p");
        Assert.Contains("https://other.example/p", Assert.Single(issues).Message, StringComparison.Ordinal);
    }

    private static IReadOnlyList<Issue> Validate(string body) =>
        SharedDefinitions.Validator.Validate(ResourceReader.Read(Encoding.UTF8.GetBytes(body), FhirFormat.Json));
}
