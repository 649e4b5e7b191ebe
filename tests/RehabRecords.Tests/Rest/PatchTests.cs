using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

public sealed class PatchTests(TestApp app) : IClassFixture<TestApp>
{
    private const string JsonPatch = "application/json-patch+json";
    private const string Div = "<div xmlns=\\\"http://www.w3.org/1999/xhtml\\\">Ada Sampleton</div>";
    private static readonly (string, string) FromFirst = ("If-Match", "W/\"1\"");

    private static string Set(string path, string value) => $$"""[{"op":"replace","path":"{{path}}","value":{{value}}}]""";

    /// <summary>A FHIRPath Patch of one operation, its parts as "name:valueType:value".</summary>
    private static string Operation(string type, string path, params string[] parts)
    {
        var all = new JsonArray(
            new JsonObject { ["name"] = "type", ["valueCode"] = type },
            new JsonObject { ["name"] = "path", ["valueString"] = path });
        foreach (var part in parts)
        {
            var split = part.Split(':', 3);
            all.Add(new JsonObject { ["name"] = split[0], [split[1]] = JsonNode.Parse(split[2]) });
        }
        return new JsonObject
        {
            ["resourceType"] = "Parameters",
            ["parameter"] = new JsonArray(new JsonObject { ["name"] = "operation", ["part"] = all }),
        }.ToJsonString();
    }

    [Fact]
    public async Task A_json_patch_makes_the_next_version()
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", """[{"op":"test","path":"/birthDate","value":"1950-04-03"},{"op":"replace","path":"/name/0/family","value":"Renamed"},{"op":"add","path":"/active","value":true}]""", JsonPatch, FromFirst);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        Assert.Equal("W/\"2\"", response.ETag());
        Assert.Equal($"{TestApp.FhirBase}/Patient/{id}/_history/2", response.Headers.Location!.ToString());
        var person = await response.FhirAsync<Patient>();
        Assert.Equal(("Renamed", true, "2", "1950-04-03"), (person.Name[0].Family, person.Active, person.Meta!.VersionId, person.BirthDate));
    }

    [Theory]
    [InlineData(Json)]
    [InlineData("application/json")]
    [InlineData(Xml)]
    public async Task A_fhirpath_patch_is_read_as_parameters_in_both_formats(string type)
    {
        var id = await app.CreateAsync(Person());
        var patch = type == Xml
            ? """<Parameters xmlns="http://hl7.org/fhir"><parameter><name value="operation"/><part><name value="type"/><valueCode value="replace"/></part><part><name value="path"/><valueString value="Patient.birthDate"/></part><part><name value="value"/><valueDate value="1951-01-01"/></part></parameter></Parameters>"""
            : Operation("replace", "Patient.birthDate", "value:valueDate:\"1951-01-01\"");
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", patch, type, FromFirst);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        Assert.Equal("1951-01-01", (await response.FhirAsync<Patient>()).BirthDate);
    }

    [Theory]
    [InlineData("return=minimal", "")]
    [InlineData("return=representation", "Patient")]
    [InlineData("return=OperationOutcome", "OperationOutcome")]
    public async Task The_answer_is_as_much_as_is_preferred(string prefer, string type)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", Set("/birthDate", "\"1951\""), JsonPatch, FromFirst, ("Prefer", prefer));
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        Assert.Equal(type, type.Length == 0 ? response.Text() : (await response.FhirAsync<Resource>()).TypeName);
    }

    [Theory]
    [InlineData(null, 428, "If-Match: W/\"1\"")]
    [InlineData("*", 428, "If-Match: W/\"1\"")]
    [InlineData("W/\"2\"", 412, "version 1")]
    public async Task A_patch_names_the_version_it_was_made_for(string? ifMatch, int status, string says)
    {
        var id = await app.CreateAsync(Person());
        var before = app.State();
        (string, string)[] headers = ifMatch is null ? [] : [("If-Match", ifMatch)];
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", Set("/birthDate", "\"1951\""), JsonPatch, headers);
        await response.RefusedAsync(status, says);
        Assert.Equal("W/\"1\"", response.ETag());
        Assert.Equal(before, app.State());
    }

    [Theory]
    // No patch, or not one that is read strictly.
    [InlineData("""{"op":"remove","path":"/birthDate"}""", 400, "array")]
    [InlineData("nonsense", 400, "not JSON")]
    [InlineData("""[{"op":"jump","path":"/birthDate"}]""", 400, "jump")]
    [InlineData("""[{"op":"replace","path":"/birthDate"}]""", 400, "no value")]
    [InlineData("""[{"op":"remove","path":"birthDate"}]""", 400, "begin with '/'")]
    [InlineData("""[{"op":"remove","path":""}]""", 400, "use PUT")]
    [InlineData("""[{"op":"remove","path":"/name/00"}]""", 400, "write 0")]
    [InlineData("""[{"op":"remove","path":"/name/-"}]""", 400, "'-'")]
    [InlineData("""[{"op":"remove","path":"/na~2me"}]""", 400, "~0")]
    [InlineData("""[{"op":"copy","path":"/name/0"}]""", 400, "from")]
    [InlineData("""[{"op":"remove","op":"remove","path":"/birthDate"}]""", 400, "not JSON")]
    [InlineData("""[{"op":"remove","path":"/birthDate","a\ud800":1}]""", 400, null)]
    [InlineData("""[{"op":"remove","path":"/birth\ud800Date"}]""", 400, null)]
    [InlineData("""[{"op":"add","path":"/contact","value":[{"a\ud800":1}]}]""", 400, null)]
    [InlineData("""[{"op":"replace","path":"/birthDate","value":"\ud800"}]""", 400, null)]
    [InlineData("""{"a\ud800":1}""", 400, null)]
    // It does not fit the resource.
    [InlineData("""[{"op":"test","path":"/birthDate","value":"1999"}]""", 422, "test /birthDate")]
    [InlineData("""[{"op":"remove","path":"/deceasedBoolean"}]""", 422, "deceasedBoolean")]
    [InlineData("""[{"op":"replace","path":"/name/5/family","value":"x"}]""", 422, "/name/5/family")]
    [InlineData("""[{"op":"add","path":"/name/0/given/9","value":"x"}]""", 422, "/name/0/given/9")]
    [InlineData("""[{"op":"replace","path":"/id","value":"other"}]""", 422, "never change")]
    [InlineData("""[{"op":"add","path":"/meta/tag","value":[{"system":"http://terminology.hl7.org/CodeSystem/v3-ObservationValue","code":"SUBSETTED"}]}]""", 422, "SUBSETTED")]
    // An extension must not slide to another value than it was said of.
    [InlineData("""[{"op":"add","path":"/name/0/_given","value":[{"id":"a"},{"id":"b"}]}]""", 422, "pairs")]
    // The result is no FHIR.
    [InlineData("""[{"op":"replace","path":"/resourceType","value":"Group"}]""", 400, null)]
    [InlineData("""[{"op":"replace","path":"/birthDate","value":"soon"}]""", 400, "soon")]
    [InlineData("""[{"op":"add","path":"/shoeSize","value":42}]""", 400, "shoeSize")]
    [InlineData("""[{"op":"add","path":"/telecom","value":[]}]""", 400, null)]
    [InlineData("""[{"op":"add","path":"/managingOrganization","value":{"reference":"Organization/nowhere"}}]""", 422, "Organization/nowhere")]
    public async Task A_json_patch_that_cannot_be_done_is_refused_and_nothing_stored(string patch, int status, string? says)
    {
        var id = await app.CreateAsync(Person());
        var before = app.State();
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", patch, JsonPatch, FromFirst);
        await response.RefusedAsync(status, says);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_list_that_a_json_patch_empties_goes_with_its_last_element()
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", """[{"op":"remove","path":"/name/0/given/0"},{"op":"remove","path":"/name/0/family"},{"op":"add","path":"/active","value":true}]""", JsonPatch, FromFirst);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        Assert.Empty((await response.FhirAsync<Patient>()).Name);
    }

    [Fact]
    public async Task Copies_of_copies_come_to_an_end()
    {
        var id = await app.CreateAsync(Person(new string('x', 1000)));
        var doubling = string.Join(',', Enumerable.Range(0, 30).Select(i => $$"""{"op":"copy","from":"/name","path":"/name/0/x{{i}}"}"""));
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", $"[{doubling}]", JsonPatch, FromFirst);
        Assert.Contains((await response.RefusedAsync(422)).Issue[0].Diagnostics!, d => char.IsLetter(d));
        using var tooMany = await app.SendAsync("PATCH", $"/Patient/{id}", $"[{string.Join(',', Enumerable.Repeat("""{"op":"test","path":"/birthDate","value":"1950-04-03"}""", 501))}]", JsonPatch, FromFirst);
        await tooMany.RefusedAsync(413, "500");
    }

    public static TheoryData<string, int, string> FhirPathPatchesThatCannotBe => new()
    {
        { Operation("replace", "Patient.photo", "value:valueString:\"x\""), 422, "nothing at Patient.photo" },
        { Operation("replace", "Patient.name.given", "value:valueString:\"x\""), 422, "2 elements" },
        { Operation("replace", "Patient.name[", "value:valueString:\"x\""), 400, "cannot be evaluated" },
        { Operation("replace", "Patient", "value:valueString:\"x\""), 422, "PUT" },
        { Operation("replace", "Patient.name.count()", "value:valueInteger:1"), 422, "worked out" },
        { Operation("replace", "Patient.birthDate", "value:valueString:\"soon\""), 400, "soon" },
        { Operation("replace", "Patient.birthDate", "value:valuePeriod:{\"start\":\"2026\"}"), 422, "takes date" },
        { Operation("replace", "Patient.birthDate"), 400, "'value'" },
        { Operation("replace", "Patient.descendants().where($this is date)", "value:valueDate:\"2026\""), 400, "descendants()" },
        { Operation("replace", "Patient.name.where(%resource.name.exists()).family", "value:valueString:\"x\""), 400, "%" },
        { Operation("add", "Patient", "name:valueString:\"birthDate\"", "value:valueDate:\"1951\""), 422, "Use replace" },
        { Operation("add", "Patient", "name:valueString:\"shoeSize\"", "value:valueInteger:42"), 422, "no element 'shoeSize'" },
        { Operation("add", "Patient", "name:valueString:\"deceased\"", "value:valueString:\"yes\""), 422, "one of boolean, dateTime" },
        { Operation("add", "Patient", "value:valueInteger:42"), 400, "'name'" },
        { Operation("insert", "Patient.name", "index:valueInteger:2", "value:valueHumanName:{\"family\":\"x\"}"), 422, "0 to 1" },
        { Operation("insert", "Patient.birthDate", "index:valueInteger:0", "value:valueDate:\"1951\""), 422, "no list" },
        { Operation("move", "Patient.name[0].given", "source:valueInteger:0", "destination:valueInteger:2"), 422, "0 to 1" },
        { Operation("move", "Patient.telecom", "source:valueInteger:0", "destination:valueInteger:0"), 422, "empty" },
        { Operation("delete", "Patient.name.given"), 422, "2 elements" },
        { Operation("delete", "Patient.name", "value:valueString:\"x\""), 400, "does not take" },
        { Operation("jump", "Patient.name"), 400, "jump" },
        { """{"resourceType":"Parameters","parameter":[{"name":"change","valueString":"x"}]}""", 400, "operation" },
        { Person(), 400, "no patch" },
    };

    [Theory]
    [MemberData(nameof(FhirPathPatchesThatCannotBe))]
    public async Task A_fhirpath_patch_that_cannot_be_done_is_refused_and_nothing_stored(string patch, int status, string says)
    {
        var id = await app.CreateAsync("""{"resourceType":"Patient","name":[{"family":"Sampleton","given":["Ada","Bea"]}],"birthDate":"1950-04-03"}""");
        var before = app.State();
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", patch, Json, FromFirst);
        await response.RefusedAsync(status, says);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task Fhirpath_patches_reach_choices_codes_conditions_and_elements_without_a_type()
    {
        var id = await app.CreateAsync(Person());
        var version = 1;
        async Task<Patient> PatchedAsync(string patch)
        {
            using var response = await app.SendAsync("PATCH", $"/Patient/{id}", patch, Json, ("If-Match", $"W/\"{version++}\""));
            Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
            return await response.FhirAsync<Patient>();
        }

        Assert.True(((FhirBoolean)(await PatchedAsync(Operation("add", "Patient", "name:valueString:\"deceased\"", "value:valueBoolean:true"))).Deceased!).Value);
        Assert.Equal("2026-01-02", ((FhirDateTime)(await PatchedAsync(Operation("replace", "Patient.deceased", "value:valueDateTime:\"2026-01-02\""))).Deceased!).Value);
        Assert.Equal(AdministrativeGender.Female, (await PatchedAsync(Operation("add", "Patient", "name:valueString:\"gender\"", "value:valueString:\"female\""))).Gender);
        var contact = (JsonObject)JsonNode.Parse(Operation("add", "Patient", "name:valueString:\"contact\""))!;
        contact["parameter"]![0]!["part"]!.AsArray().Add(JsonNode.Parse("""{"name":"value","part":[{"name":"name","valueHumanName":{"family":"Carer"}},{"name":"relationship","valueCodeableConcept":{"text":"daughter"}},{"name":"relationship","valueCodeableConcept":{"text":"carer"}}]}"""));
        Assert.Equal(["daughter", "carer"], (await PatchedAsync(contact.ToJsonString())).Contact[0].Relationship.Select(r => r.Text));
        Assert.Equal("home", (await PatchedAsync(Operation("add", "Patient.contact.where(name.family = 'Carer')", "name:valueString:\"telecom\"", "value:valueContactPoint:{\"system\":\"phone\",\"value\":\"01\",\"use\":\"home\"}"))).Contact[0].Telecom[0].Use!.Value.ToString().ToLowerInvariant());
        Assert.Empty((await PatchedAsync(Operation("delete", "Patient.contact[0]"))).Contact);
        Assert.Equal(["Zoe", "Ada"], (await PatchedAsync(Operation("insert", "Patient.name[0].given", "index:valueInteger:0", "value:valueString:\"Zoe\""))).Name[0].Given);
    }

    [Fact]
    public async Task A_patch_that_changes_nothing_makes_no_version()
    {
        var id = await app.CreateAsync(Person());
        var before = app.State();
        foreach (var (patch, type) in new[] { (Set("/birthDate", "\"1950-04-03\""), JsonPatch), (Operation("delete", "Patient.photo"), Json) })
        {
            using var response = await app.SendAsync("PATCH", $"/Patient/{id}", patch, type, FromFirst);
            Assert.Equal((HttpStatusCode.OK, "W/\"1\""), (response.StatusCode, response.ETag()));
        }
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_narrative_is_never_left_behind_by_the_data()
    {
        var id = await app.CreateAsync($$"""{"resourceType":"Patient","text":{"status":"generated","div":"{{Div}}"},"name":[{"family":"Sampleton"}]}""");
        var before = app.State();
        using var left = await app.SendAsync("PATCH", $"/Patient/{id}", Set("/name/0/family", "\"Weaver\""), JsonPatch, FromFirst);
        Assert.Contains("Patient.text", (await left.RefusedAsync(422, "narrative")).Issue[0].Expression);
        using var leftByPath = await app.SendAsync("PATCH", $"/Patient/{id}", Operation("replace", "Patient.name.family", "value:valueString:\"Weaver\""), Json, FromFirst);
        await leftByPath.RefusedAsync(422, "narrative");
        Assert.Equal(before, app.State());

        using var labelled = await app.SendAsync("PATCH", $"/Patient/{id}", """[{"op":"add","path":"/meta/tag","value":[{"system":"https://clinic.test/tag","code":"seen"}]}]""", JsonPatch, FromFirst);
        Assert.True(labelled.StatusCode == HttpStatusCode.OK, labelled.Text());
        using var told = await app.SendAsync("PATCH", $"/Patient/{id}",
            $$"""[{"op":"replace","path":"/name/0/family","value":"Weaver"},{"op":"replace","path":"/text/div","value":"{{Div.Replace("Sampleton", "Weaver", StringComparison.Ordinal)}}"}]""", JsonPatch, ("If-Match", "W/\"2\""));
        Assert.True(told.StatusCode == HttpStatusCode.OK, told.Text());
        using var removed = await app.SendAsync("PATCH", $"/Patient/{id}", """[{"op":"replace","path":"/name/0/family","value":"Miller"},{"op":"remove","path":"/text"}]""", JsonPatch, ("If-Match", "W/\"3\""));
        Assert.True(removed.StatusCode == HttpStatusCode.OK, removed.Text());
        using var unsafeText = await app.SendAsync("PATCH", $"/Patient/{id}", """[{"op":"add","path":"/text","value":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\"><script>alert(1)</script></div>"}}]""", JsonPatch, ("If-Match", "W/\"4\""));
        await unsafeText.RefusedAsync(400, "script");
    }

    [Fact]
    public async Task What_is_not_there_is_not_patched()
    {
        using var never = await app.SendAsync("PATCH", "/Patient/nobody", Set("/birthDate", "\"1951\""), JsonPatch);
        await never.RefusedAsync(404);
        var id = await app.CreateAsync(Person());
        await app.SendAsync("DELETE", $"/Patient/{id}", null, Json, FromFirst);
        using var gone = await app.SendAsync("PATCH", $"/Patient/{id}", Set("/birthDate", "\"1951\""), JsonPatch, ("If-Match", "W/\"2\""));
        await gone.RefusedAsync(410);
        Assert.Equal("W/\"2\"", gone.ETag());
    }

    [Theory]
    [InlineData("application/xml-patch+xml")]
    [InlineData("application/merge-patch+json")]
    [InlineData("text/plain")]
    public async Task A_patch_of_another_kind_is_refused_with_those_that_are_read(string type)
    {
        var id = await app.CreateAsync(Person());
        using var response = await app.SendAsync("PATCH", $"/Patient/{id}", "<diff/>", type, FromFirst);
        await response.RefusedAsync(415);
        Assert.Equal("application/json-patch+json, application/fhir+json, application/fhir+xml", string.Join(", ", response.Headers.GetValues("Accept-Patch")));
    }

    [Theory]
    [InlineData("transaction")]
    [InlineData("batch")]
    public async Task A_bundle_can_patch_by_either_kind(string type)
    {
        var (one, two) = (await app.CreateAsync(Person("One")), await app.CreateAsync(Person("Two")));
        var binary = new JsonObject { ["resourceType"] = "Binary", ["contentType"] = JsonPatch, ["data"] = Convert.ToBase64String(System.Text.Encoding.UTF8.GetBytes(Set("/name/0/family", "\"Uno\""))) }.ToJsonString();
        var bundle = Bundle(type,
            Entry("PATCH", $"Patient/{one}", binary, ifMatch: "W/\"1\""),
            Entry("PATCH", $"Patient/{two}", Operation("replace", "Patient.name[0].family", "value:valueString:\"Due\""), ifMatch: "W/\"1\""));
        using var response = await app.SendAsync("POST", "", bundle.ToJsonString(), Json, ("Prefer", "return=representation"));
        var answer = await response.FhirAsync<Bundle>();
        Assert.Equal(["200 OK", "200 OK"], answer.Entry.Select(e => e.Response!.Status));
        Assert.Equal(["Uno", "Due"], answer.Entry.Select(e => ((Patient)e.Resource!).Name[0].Family));
    }

    [Fact]
    public async Task A_patch_of_a_transaction_can_name_what_the_transaction_creates()
    {
        var person = await app.CreateAsync(Person());
        var patch = new JsonObject { ["resourceType"] = "Binary", ["contentType"] = JsonPatch, ["data"] = Convert.ToBase64String("""[{"op":"add","path":"/managingOrganization","value":{"reference":"urn:uuid:0c1e9b1e-6a3b-4b4e-9d7d-0d2f8c5b0a09"}}]"""u8) };
        using var response = await app.SendAsync("POST", "", Bundle("transaction",
            Entry("PATCH", $"Patient/{person}", patch.ToJsonString(), ifMatch: "W/\"1\""),
            Entry("POST", "Organization", """{"resourceType":"Organization","name":"Made-up Clinic"}""", "urn:uuid:0c1e9b1e-6a3b-4b4e-9d7d-0d2f8c5b0a09")).ToJsonString());
        var answer = await response.FhirAsync<Bundle>();
        var stored = await app.GetAsync($"/fhir/Patient/{person}");
        Assert.Equal(string.Join('/', answer.Entry[1].Response!.Location!.Split('/')[^4..^2]), stored["managingOrganization"]!["reference"]!.ToString());
    }

    [Fact]
    public async Task A_patch_that_cannot_be_done_fails_the_whole_transaction_and_names_its_entry()
    {
        var person = await app.CreateAsync(Person());
        var before = app.State();
        using var response = await app.SendAsync("POST", "", Bundle("transaction",
            Entry("POST", "Patient", Person("Never")),
            Entry("PATCH", $"Patient/{person}", Operation("replace", "Patient.photo", "value:valueString:\"x\""), ifMatch: "W/\"1\"")).ToJsonString());
        Assert.StartsWith("Bundle.entry[1].resource", (await response.RefusedAsync(422)).Issue[0].Expression.Single(), StringComparison.Ordinal);
        using var wrongKind = await app.SendAsync("POST", "", Bundle("transaction", Entry("PATCH", $"Patient/{person}", """{"resourceType":"Binary","contentType":"text/plain","data":"AAAA"}""", ifMatch: "W/\"1\"")).ToJsonString());
        Assert.StartsWith("Bundle.entry[0].resource", (await wrongKind.RefusedAsync(400)).Issue[0].Expression.Single(), StringComparison.Ordinal);
        Assert.Equal(before, app.State());
    }
}
