using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.People;

public class PersonTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Fact]
    public async Task A_person_is_stored_with_carer_and_precautions_and_read_back_the_same()
    {
        var posted = await app.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("identifier", """{ "system": "https://clinic.example/id/person", "value": "P-1" }""")));
        var id = (string)posted["id"]!;
        Assert.Equal(posted.ToJsonString(), (await app.GetAsync($"/api/people/{id}")).ToJsonString());
        Assert.Equal("Quill Placeholder", (string?)posted["carer"]!["name"]);
        Assert.Equal("reduced-sensation", (string?)posted["precautions"]![0]!["code"]);
        Assert.Equal("right", (string?)posted["affectedSide"]);

        var (patient, _) = (await app.Store.GetAsync<Patient>(id))!.Value;
        Assert.Equal(AdministrativeGender.Male, patient.Gender);
        Assert.Equal("1956-03-02", patient.BirthDate);
        var flag = Assert.Single(await app.Store.FindAllAsync<Flag>($"subject=Patient/{id}"));
        Assert.Equal("reduced sensation: Fingertips.", flag.Code.Text);
    }

    [Fact]
    public async Task Location_names_the_person_and_the_list_finds_them_by_identifier()
    {
        var body = TradeApp.With(TradeApp.Person, ("identifier", """{ "system": "https://clinic.example/id/person", "value": "P-2" }"""));
        using var response = await app.Http.PostAsync("/api/people", TestApp.Json(body));
        Assert.Equal(HttpStatusCode.Created, response.StatusCode);
        var id = (string)JsonNode.Parse(await response.Content.ReadAsStringAsync())!["id"]!;
        Assert.Equal($"/api/people/{id}", response.Headers.Location!.ToString());
        var found = await app.GetAsync("/api/people?identifier=" + Uri.EscapeDataString("https://clinic.example/id/person|P-2"));
        Assert.Equal(id, (string)Assert.Single(found.AsArray())!["id"]!);
    }

    [Fact]
    public async Task An_identifier_that_another_person_holds_is_refused()
    {
        var body = TradeApp.With(TradeApp.Person, ("identifier", """{ "system": "https://clinic.example/id/person", "value": "P-3" }""")).ToJsonString();
        await app.PostAsync("/api/people", JsonNode.Parse(body)!);
        await app.RefusedAsync("/api/people", body, HttpStatusCode.Conflict, "Patient.identifier", "P-3", "already held");
    }

    [Fact]
    public async Task A_repeated_key_answers_the_first_result_and_another_body_under_it_is_refused()
    {
        async Task<HttpResponseMessage> PostAsync(string body)
        {
            using var request = new HttpRequestMessage(HttpMethod.Post, "/api/people") { Content = TestApp.Json(body) };
            request.Headers.Add("Idempotency-Key", "person-key-1");
            return await app.Http.SendAsync(request);
        }

        using var first = await PostAsync(TradeApp.Person);
        var before = app.State();
        using var again = await PostAsync(TradeApp.Person);
        Assert.Equal(await first.Content.ReadAsStringAsync(), await again.Content.ReadAsStringAsync());
        Assert.Equal(first.Headers.Location, again.Headers.Location);
        using var other = await PostAsync(TradeApp.With(TradeApp.Person, ("familyName", "\"Otherwise\"")).ToJsonString());
        Assert.Equal(HttpStatusCode.UnprocessableEntity, other.StatusCode);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_person_who_is_not_there_is_not_found()
    {
        using var response = await app.Http.GetAsync("/api/people/nobody");
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
        Assert.Contains("no person 'nobody'", await response.Content.ReadAsStringAsync());
    }

    [Theory]
    [InlineData("familyName", "\"<script>alert(1)</script>\"", "familyName contains the HTML tag <script>; it is plain text. Write it without the tag")]
    [InlineData("familyName", null, "familyName is missing; give the family name")]
    [InlineData("familyName", "\"  \"", "familyName is missing")]
    [InlineData("givenNames", "[]", "givenNames is missing; give at least one given name")]
    [InlineData("birthDate", null, "birthDate is missing; give the date of birth")]
    [InlineData("birthDate", "\"2027-01-01\"", "birthDate is 2027-01-01; give a date from 1901-06-16 to today")]
    [InlineData("birthDate", "\"1799-01-01\"", "birthDate is 1799-01-01; give a date from")]
    [InlineData("sex", null, "sex is missing; give one of: female, male, other, unknown")]
    [InlineData("sex", "\"m\"", "sex is 'm', which is not a recorded sex; use one of: female, male, other, unknown")]
    [InlineData("dominantHand", "\"none\"", "dominantHand is 'none', which is not a dominant hand; use one of: left, right, both")]
    [InlineData("affectedSide", "\"upper\"", "affectedSide is 'upper', which is not an affected side; use one of: left, right, both, none")]
    [InlineData("onsetDate", "\"1950-01-01\"", "onsetDate is 1950-01-01; give a date from the date of birth to today")]
    [InlineData("onsetDate", "\"2026-07-01\"", "onsetDate is 2026-07-01")]
    [InlineData("carer.name", null, "carer.name is missing; give the carer's name, or leave the carer out")]
    [InlineData("precautions[0].code", "\"gout\"", "precautions[0].code is 'gout', which is not a precaution; use one of: reduced-sensation, shoulder-pain")]
    [InlineData("precautions", """[{ "code": "neglect" }, { "code": "neglect" }]""", "precautions has the precaution 'neglect' 2 times; list it once")]
    [InlineData("identifier", """{ "system": "clinic", "value": "1" }""", "identifier.system is 'clinic'; give an absolute address", "identifier.system")]
    [InlineData("identifier", """{ "system": "https://rehabrecords.example/fhir/id/person", "value": "1" }""", "which the service keeps for identifiers of its own", "identifier.system")]
    [InlineData("identifier", """{ "system": "https://clinic.example/x" }""", "identifier.value is missing", "identifier.value")]
    public Task A_bad_field_is_named_with_value_range_and_remedy(string path, string? json, string message, string? field = null) =>
        app.RefusedAsync("/api/people", TradeApp.With(TradeApp.Person, (path, json)).ToJsonString(), HttpStatusCode.UnprocessableEntity, field ?? path, message);

    [Fact]
    public Task A_text_that_is_too_long_is_refused_with_its_length() => app.RefusedAsync(
        "/api/people", TradeApp.With(TradeApp.Person, ("familyName", $"\"{new string('x', 201)}\"")).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, "familyName", "familyName has 201 characters; give at most 200");

    [Fact]
    public Task Every_fault_is_told_at_once() => app.RefusedAsync(
        "/api/people", TradeApp.With(TradeApp.Person, ("familyName", null), ("sex", "\"x\""), ("carer.name", null)).ToJsonString(),
        HttpStatusCode.UnprocessableEntity, "sex", "sex is 'x'");

    [Fact]
    public async Task What_looks_like_markup_in_a_name_stays_text()
    {
        var posted = await app.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("familyName", "\"<3 & Söhne> \\\"x\\\"\"")));
        var (patient, _) = (await app.Store.GetAsync<Patient>((string)posted["id"]!))!.Value;
        Assert.Contains("&lt;3 &amp; Söhne&gt;", patient.Text!.Div, StringComparison.Ordinal);
        Assert.Equal("<3 & Söhne> \"x\"", (string?)posted["familyName"]);
    }
}
