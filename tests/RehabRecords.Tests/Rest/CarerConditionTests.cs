using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>Somebody who cares for two people is two RelatedPersons under one identifier; conditions tell them apart by the person.</summary>
public sealed class CarerConditionTests(TestApp app) : IClassFixture<TestApp>
{
    private const string PersonUrn = "urn:uuid:5f0d2c1e-1f2d-4b0e-8a3c-6b6c1d9e4a01";
    private const string CarerUrn = "urn:uuid:5f0d2c1e-1f2d-4b0e-8a3c-6b6c1d9e4a02";

    private static string Carer(string patient, string identifier) => new JsonObject
    {
        ["resourceType"] = "RelatedPerson",
        ["identifier"] = new JsonArray(new JsonObject { ["system"] = IdSystem, ["value"] = identifier }),
        ["patient"] = new JsonObject { ["reference"] = patient },
        ["name"] = new JsonArray(new JsonObject { ["family"] = "Helpful" }),
    }.ToJsonString();

    private static string WrittenBy(string patient, string carer)
    {
        var result = JsonNode.Parse(Weight(patient))!;
        result["performer"] = new JsonArray(new JsonObject { ["reference"] = carer });
        return result.ToJsonString();
    }

    private async Task<(string Person, string Carer)> CaredForAsync(string identifier)
    {
        var person = await app.CreateAsync(Person());
        return (person, await app.CreateAsync(Carer($"Patient/{person}", identifier)));
    }

    private Task<HttpResponseMessage> CreateAsync(string patient, string identifier, string condition) =>
        app.SendAsync("POST", "/RelatedPerson", Carer(patient, identifier), Json, ("If-None-Exist", condition));

    private async Task<Bundle> DoneAsync(params JsonObject[] entries)
    {
        using var response = await app.SendAsync("POST", "", Bundle("transaction", entries).ToJsonString());
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        return await response.FhirAsync<Bundle>();
    }

    private static string AddressOf(Bundle.EntryComponent entry) => string.Join('/', entry.Response!.Location!.Split('/')[^4..^2]);

    [Theory]
    [InlineData("Patient/")]
    [InlineData("")]
    public async Task Each_person_has_a_carer_of_their_own_under_the_same_identifier(string prefix)
    {
        var identifier = $"carer-own-{prefix.Length}";
        var first = await CaredForAsync(identifier);
        var other = await app.CreateAsync(Person());
        using var created = await CreateAsync($"Patient/{other}", identifier, $"identifier={IdSystem}|{identifier}&patient={prefix}{other}");
        Assert.True(created.StatusCode == HttpStatusCode.Created, created.Text());
        foreach (var (person, carer) in new[] { first, (other, (await created.FhirAsync<RelatedPerson>()).Id!) })
        {
            using var found = await CreateAsync($"Patient/{person}", identifier, $"patient={prefix}{person}&identifier={IdSystem}|{identifier}");
            Assert.Equal((HttpStatusCode.OK, carer), (found.StatusCode, (await found.FhirAsync<RelatedPerson>()).Id));
        }
    }

    [Fact]
    public async Task Without_the_person_another_persons_carer_is_never_answered()
    {
        var (person, carer) = await CaredForAsync("carer-alone");
        using var own = await CreateAsync($"Patient/{person}", "carer-alone", $"identifier={IdSystem}|carer-alone");
        Assert.Equal((HttpStatusCode.OK, carer), (own.StatusCode, (await own.FhirAsync<RelatedPerson>()).Id));
        var other = await app.CreateAsync(Person());
        var before = app.State();
        using var refused = await CreateAsync($"Patient/{other}", "carer-alone", $"identifier={IdSystem}|carer-alone");
        await refused.RefusedAsync(412, "another person's carer. Add &patient=");
        Assert.Equal(before, app.State());
        await app.CreateAsync(Carer($"Patient/{other}", "carer-alone"));
        using var both = await CreateAsync($"Patient/{other}", "carer-alone", $"identifier={IdSystem}|carer-alone");
        await both.RefusedAsync(412, "&patient=Patient/");
    }

    [Theory]
    [InlineData("RelatedPerson", "identifier={0}&patient=Patient/somebody", "Let its identifier and patient say the same")]
    [InlineData("RelatedPerson", "identifier={0}&patient=urn:uuid:5f0d2c1e-1f2d-4b0e-8a3c-6b6c1d9e4a09", "Let its identifier and patient say the same")]
    [InlineData("RelatedPerson", "patient=Patient/{1}", "cannot promise a single match")]
    [InlineData("RelatedPerson", "identifier={0}&patient=Patient/{1}&patient=Patient/{1}", "cannot promise a single match")]
    [InlineData("RelatedPerson", "identifier={0}&patient=Patient/{1}&name=x", "or &patient=Patient/<id> with it")]
    [InlineData("RelatedPerson", "identifier={0}&patient=", "cannot promise a single match")]
    [InlineData("Observation", "identifier={0}&patient=Patient/{1}", "cannot promise a single match")]
    public async Task A_condition_that_does_not_fit_what_is_sent_creates_nothing(string type, string condition, string says)
    {
        var person = await app.CreateAsync(Person());
        var before = app.State();
        using var refused = await app.SendAsync(
            "POST", $"/{type}", type == "Observation" ? Weight($"Patient/{person}") : Carer($"Patient/{person}", "carer-odd"), Json,
            ("If-None-Exist", string.Format(System.Globalization.CultureInfo.InvariantCulture, condition, $"{IdSystem}|carer-odd", person)));
        await refused.RefusedAsync(400, says);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task In_a_transaction_the_person_is_named_as_the_entry_is_called()
    {
        await CaredForAsync("carer-txn");
        var known = await app.CreateAsync(Person(identifier: "person-txn"));
        JsonObject[] entries =
        [
            Entry("POST", "RelatedPerson", Carer(PersonUrn, "carer-txn"), CarerUrn, ifNoneExist: $"identifier={IdSystem}|carer-txn&patient={PersonUrn}"),
            Entry("POST", "Observation", WrittenBy(PersonUrn, CarerUrn)),
            Entry("POST", "Patient", Person(identifier: "person-txn"), PersonUrn, ifNoneExist: $"identifier={IdSystem}|person-txn"),
        ];
        var first = await DoneAsync([.. entries.Select(e => e.DeepClone().AsObject())]);
        Assert.Equal(["201 Created", "201 Created", "200 OK"], first.Entry.Select(e => e.Response!.Status));
        var again = await DoneAsync(entries);
        Assert.Equal(["200 OK", "201 Created", "200 OK"], again.Entry.Select(e => e.Response!.Status));
        Assert.Equal(AddressOf(first.Entry[0]), AddressOf(again.Entry[0]));
        var carer = await app.GetAsync($"/fhir/{AddressOf(first.Entry[0])}");
        Assert.Equal($"Patient/{known}", (string?)carer["patient"]!["reference"]);
        var result = await app.GetAsync($"/fhir/{AddressOf(again.Entry[1])}");
        Assert.Equal(AddressOf(first.Entry[0]), (string?)result["performer"]![0]!["reference"]);
    }

    [Fact]
    public async Task A_person_created_by_the_same_transaction_has_no_carer_yet()
    {
        await CaredForAsync("carer-new");
        var answer = await DoneAsync(
            Entry("POST", "RelatedPerson", Carer("Patient/7", "carer-new"), "https://elsewhere.test/fhir/RelatedPerson/8", ifNoneExist: $"identifier={IdSystem}|carer-new&patient=https://elsewhere.test/fhir/Patient/7"),
            Entry("POST", "Patient", Person(), "https://elsewhere.test/fhir/Patient/7"));
        Assert.Equal(["201 Created", "201 Created"], answer.Entry.Select(e => e.Response!.Status));
        Assert.Equal(AddressOf(answer.Entry[1]), (string?)(await app.GetAsync($"/fhir/{AddressOf(answer.Entry[0])}"))["patient"]!["reference"]);
    }

    [Fact]
    public async Task A_conditional_reference_means_the_carer_of_the_person_it_names()
    {
        var first = await CaredForAsync("carer-ref");
        var second = await CaredForAsync("carer-ref");
        foreach (var (person, carer) in new[] { first, second })
        {
            var answer = await DoneAsync(Entry("POST", "Observation", WrittenBy($"Patient/{person}", $"RelatedPerson?identifier={IdSystem}|carer-ref&patient=Patient/{person}")));
            Assert.Equal($"RelatedPerson/{carer}", (string?)(await app.GetAsync($"/fhir/{AddressOf(answer.Entry[0])}"))["performer"]![0]!["reference"]);
        }

        var created = await DoneAsync(
            Entry("POST", "Observation", WrittenBy(PersonUrn, $"RelatedPerson?identifier={IdSystem}|carer-ref&patient={PersonUrn}")),
            Entry("POST", "RelatedPerson", Carer(PersonUrn, "carer-ref"), CarerUrn),
            Entry("POST", "Patient", Person(), PersonUrn));
        Assert.Equal(AddressOf(created.Entry[1]), (string?)(await app.GetAsync($"/fhir/{AddressOf(created.Entry[0])}"))["performer"]![0]!["reference"]);

        var before = app.State();
        foreach (var (reference, status, says) in new[]
        {
            ($"RelatedPerson?identifier={IdSystem}|carer-ref", 412, "&patient=Patient/"),
            ($"RelatedPerson?identifier={IdSystem}|carer-ref&patient=Patient/nobody", 422, "matches no RelatedPerson"),
            ($"RelatedPerson?identifier={IdSystem}|carer-ref&patient=urn:uuid:5f0d2c1e-1f2d-4b0e-8a3c-6b6c1d9e4a09", 400, "no entry of the Bundle"),
        })
        {
            using var refused = await app.SendAsync("POST", "", Bundle("transaction", Entry("POST", "Observation", WrittenBy($"Patient/{first.Person}", reference))).ToJsonString());
            await refused.RefusedAsync(status, says);
        }

        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task An_update_by_condition_is_of_the_carer_of_the_person_it_names()
    {
        var (person, carer) = await CaredForAsync("carer-put");
        await CaredForAsync("carer-put");
        using var updated = await app.SendAsync(
            "PUT", $"/RelatedPerson?identifier={Uri.EscapeDataString(IdSystem + "|carer-put")}&patient=Patient/{person}", Carer($"Patient/{person}", "carer-put"), Json, ("If-Match", "W/\"1\""));
        Assert.Equal((HttpStatusCode.OK, carer), (updated.StatusCode, (await updated.FhirAsync<RelatedPerson>()).Id));
        var third = await app.CreateAsync(Person());
        using var created = await app.SendAsync(
            "PUT", $"/RelatedPerson?identifier={Uri.EscapeDataString(IdSystem + "|carer-put")}&patient=Patient/{third}", Carer($"Patient/{third}", "carer-put"));
        Assert.True(created.StatusCode == HttpStatusCode.Created, created.Text());
    }
}
