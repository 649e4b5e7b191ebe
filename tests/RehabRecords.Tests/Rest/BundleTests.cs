using System.Net;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

public sealed class BundleTests(TestApp app) : IClassFixture<TestApp>
{
    private const string PersonUrn = "urn:uuid:0c1e9b1e-6a3b-4b4e-9d7d-0d2f8c5b0a01";

    private async Task<Bundle> DoneAsync(string bundle, params (string, string)[] headers)
    {
        using var response = await app.SendAsync("POST", "", bundle, Json, headers);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        return await response.FhirAsync<Bundle>();
    }

    private static string IdOf(Bundle.EntryComponent entry) => entry.Response!.Location!.Split('/')[^3];

    [Fact]
    public async Task Entries_that_name_each_other_are_stored_under_their_new_addresses()
    {
        var result = Weight(PersonUrn).Replace("\"status\"", $$"""
            "text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\"><a href=\"{{PersonUrn}}\">the person</a></div>"},"status"
            """, StringComparison.Ordinal);
        var answer = await DoneAsync(Bundle("transaction", Entry("POST", "Observation", result, "urn:uuid:0c1e9b1e-6a3b-4b4e-9d7d-0d2f8c5b0a02"), Entry("POST", "Patient", Person(), PersonUrn)).ToJsonString());

        Assert.Equal(Hl7.Fhir.Model.Bundle.BundleType.TransactionResponse, answer.Type);
        Assert.All(answer.Entry, e => Assert.Equal(("201 Created", "W/\"1\""), (e.Response!.Status, e.Response.Etag)));
        Assert.Equal(["Observation", "Patient"], answer.Entry.Select(e => e.Response!.Location!.Split('/')[^4]));
        var stored = await app.GetAsync($"/fhir/Observation/{IdOf(answer.Entry[0])}");
        Assert.Equal($"Patient/{IdOf(answer.Entry[1])}", stored["subject"]!["reference"]!.ToString());
        Assert.Contains($"href=\"Patient/{IdOf(answer.Entry[1])}\"", stored["text"]!["div"]!.ToString(), StringComparison.Ordinal);
        Assert.All(TestApp.SharedValidator.Validate(answer), issue => Assert.False(issue.Refuses, issue.Message));
    }

    [Fact]
    public async Task A_reference_to_a_version_stays_one()
    {
        var answer = await DoneAsync(Bundle("transaction",
            Entry("POST", "Patient", Person(), "https://elsewhere.test/fhir/Patient/7"),
            Entry("POST", "Observation", Weight("https://elsewhere.test/fhir/Patient/7/_history/4"), "https://elsewhere.test/fhir/Observation/8")).ToJsonString());
        var stored = await app.GetAsync($"/fhir/Observation/{IdOf(answer.Entry[1])}");
        Assert.Equal($"Patient/{IdOf(answer.Entry[0])}/_history/1", stored["subject"]!["reference"]!.ToString());
    }

    [Fact]
    public async Task A_relative_reference_means_what_it_meant_at_its_origin()
    {
        var answer = await DoneAsync(Bundle("transaction",
            Entry("POST", "Patient", Person(id: "7"), "https://elsewhere.test/fhir/Patient/7"),
            Entry("POST", "Observation", Weight("Patient/7"), "https://elsewhere.test/fhir/Observation/8")).ToJsonString());
        var stored = await app.GetAsync($"/fhir/Observation/{IdOf(answer.Entry[1])}");
        Assert.Equal($"Patient/{IdOf(answer.Entry[0])}", stored["subject"]!["reference"]!.ToString());
    }

    [Fact]
    public async Task Anothers_id_is_never_taken_for_ours()
    {
        var ours = await app.CreateAsync(Person());
        var before = app.State();
        using var response = await app.SendAsync("POST", "", Bundle("transaction",
            Entry("POST", "Observation", Weight($"Patient/{ours}"), "https://elsewhere.test/fhir/Observation/8")).ToJsonString());
        var outcome = await response.RefusedAsync(422, "https://elsewhere.test/fhir/Patient/");
        Assert.Contains("Bundle.entry[0].resource.subject.reference", outcome.Issue[0].Expression);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task The_work_is_done_in_the_order_of_the_standard_whatever_the_order_of_entries()
    {
        var doomed = await app.CreateAsync(Person("Doomed", "txn-order"));
        var kept = await app.CreateAsync(Person("Kept"));
        // The new one takes the identifier that the deletion, listed after it, sets free.
        var answer = await DoneAsync(Bundle("transaction",
            Entry("GET", $"Patient/{kept}"),
            Entry("PUT", $"Patient/{kept}", Person("Changed", id: kept), ifMatch: "W/\"1\""),
            Entry("POST", "Patient", Person("New", "txn-order"), PersonUrn),
            Entry("DELETE", $"Patient/{doomed}", ifMatch: "W/\"1\"")).ToJsonString());
        Assert.Equal(["200", "200", "201", "204"], answer.Entry.Select(e => e.Response!.Status![..3]));
        Assert.Equal("Changed", ((Patient)answer.Entry[0].Resource!).Name[0].Family);
        Assert.Equal("W/\"2\"", answer.Entry[1].Response!.Etag);
    }

    [Theory]
    [InlineData("an invalid resource", 400)]
    [InlineData("a stale version", 412)]
    [InlineData("no version", 428)]
    [InlineData("a creation by PUT", 405)]
    [InlineData("an unknown type", 404)]
    [InlineData("a read-only type", 405)]
    [InlineData("a dangling reference", 422)]
    [InlineData("an unmet condition", 422)]
    [InlineData("a read of nothing", 404)]
    [InlineData("the same resource twice", 400)]
    [InlineData("the same fullUrl twice", 400)]
    [InlineData("no request", 400)]
    [InlineData("no resource", 400)]
    [InlineData("a resource of another type", 400)]
    [InlineData("a patch", 400)]
    [InlineData("a conditional update", 400)]
    [InlineData("an address with too many parts", 400)]
    public async Task One_wrong_entry_stores_nothing_of_a_transaction(string wrong, int status)
    {
        var existing = await app.CreateAsync(Person());
        var good = Entry("POST", "Patient", Person("Good"), PersonUrn);
        var bad = wrong switch
        {
            "an invalid resource" => Entry("POST", "Observation", """{"resourceType":"Observation","status":"final","code":{"text":"x"},"valueString":"y","dataAbsentReason":{"text":"both"}}"""),
            "a stale version" => Entry("PUT", $"Patient/{existing}", Person(id: existing), ifMatch: "W/\"9\""),
            "no version" => Entry("PUT", $"Patient/{existing}", Person(id: existing)),
            "a creation by PUT" => Entry("PUT", "Patient/new", Person(id: "new")),
            "an unknown type" => Entry("POST", "Medication", """{"resourceType":"Medication","status":"active"}"""),
            "a read-only type" => Entry("DELETE", "AuditEvent/1"),
            "a dangling reference" => Entry("POST", "Observation", Weight("urn:uuid:0c1e9b1e-6a3b-4b4e-9d7d-0d2f8c5b0aff")),
            "an unmet condition" => Entry("POST", "Observation", Weight("Patient?identifier=https://clinic.test/id|nobody")),
            "a read of nothing" => Entry("GET", "Patient/nobody"),
            "the same resource twice" => Entry("PUT", $"Patient/{existing}", Person(id: existing), ifMatch: "W/\"1\""),
            "the same fullUrl twice" => Entry("POST", "Patient", Person(), PersonUrn),
            "no request" => new() { ["resource"] = System.Text.Json.Nodes.JsonNode.Parse(Person()) },
            "no resource" => Entry("POST", "Patient"),
            "a resource of another type" => Entry("POST", "Observation", Person()),
            "a patch" => Entry("PATCH", $"Patient/{existing}", Person()),
            "a conditional update" => Entry("PUT", "Patient?identifier=a|b", Person()),
            _ => Entry("DELETE", $"Patient/{existing}/_history/1"),
        };
        var entries = wrong == "the same resource twice" ? new[] { good, bad, (System.Text.Json.Nodes.JsonObject)bad.DeepClone() } : [good, bad];
        var before = app.State();
        using var response = await app.SendAsync("POST", "", Bundle("transaction", entries).ToJsonString());
        var outcome = await response.RefusedAsync(status);
        Assert.All(outcome.Issue.Where(i => i.Severity == OperationOutcome.IssueSeverity.Error), issue => Assert.StartsWith("Bundle.entry[", issue.Expression.Single(), StringComparison.Ordinal));
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_conditional_creation_inside_a_transaction_is_what_references_then_mean()
    {
        var existing = await app.CreateAsync(Person("Known", "txn-known"));
        var answer = await DoneAsync(Bundle("transaction",
            Entry("POST", "Patient", Person("Ignored", "txn-known"), PersonUrn, ifNoneExist: $"identifier={IdSystem}|txn-known"),
            Entry("POST", "Observation", Weight(PersonUrn))).ToJsonString());
        Assert.Equal(["200 OK", "201 Created"], answer.Entry.Select(e => e.Response!.Status));
        var stored = await app.GetAsync($"/fhir/Observation/{IdOf(answer.Entry[1])}");
        Assert.Equal($"Patient/{existing}", stored["subject"]!["reference"]!.ToString());
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task A_conditional_reference_is_met_by_the_record_or_by_the_transaction_itself(bool inTransaction)
    {
        var identifier = $"txn-cond-{inTransaction}";
        var entries = new List<System.Text.Json.Nodes.JsonObject> { Entry("POST", "Observation", Weight($"Patient?identifier={IdSystem}|{identifier}")) };
        var expected = "";
        if (inTransaction)
            entries.Add(Entry("POST", "Patient", Person(identifier: identifier), PersonUrn));
        else
            expected = await app.CreateAsync(Person(identifier: identifier));
        var answer = await DoneAsync(Bundle("transaction", [.. entries]).ToJsonString());
        var stored = await app.GetAsync($"/fhir/Observation/{IdOf(answer.Entry[0])}");
        Assert.Equal($"Patient/{(inTransaction ? IdOf(answer.Entry[1]) : expected)}", stored["subject"]!["reference"]!.ToString());
    }

    [Fact]
    public async Task Ten_identical_conditional_transactions_at_once_make_one_person_and_ten_results()
    {
        var bundle = Bundle("transaction",
            Entry("POST", "Patient", Person(identifier: "txn-race"), PersonUrn, ifNoneExist: $"identifier={IdSystem}|txn-race"),
            Entry("POST", "Observation", Weight(PersonUrn))).ToJsonString();
        var before = app.State();
        var answers = await Task.WhenAll(Enumerable.Range(0, 10).Select(_ => DoneAsync(bundle)));
        Assert.Single(answers, a => a.Entry[0].Response!.Status == "201 Created");
        Assert.Single(answers.Select(a => IdOf(a.Entry[0])).Distinct());
        Assert.Equal(before.Versions + 11, app.State().Versions);
    }

    [Fact]
    public async Task Each_entry_of_a_batch_stands_for_itself_and_answers_come_in_order()
    {
        var existing = await app.CreateAsync(Person("Existing"));
        var before = app.State();
        var answer = await DoneAsync(Bundle("batch",
            Entry("POST", "Patient", Person("One")),
            Entry("POST", "Observation", Weight("Patient/nobody")),
            Entry("PUT", $"Patient/{existing}", Person(id: existing), ifMatch: "W/\"8\""),
            Entry("GET", $"Patient/{existing}"),
            Entry("GET", "Patient?family=Existing"),
            Entry("GET", $"Patient/{existing}/_history"),
            Entry("GET", "Patient/nobody"),
            Entry("GET", $"Patient/{existing}?familly=x"),
            Entry("GET", "Binary?_id=x"),
            Entry("DELETE", $"Patient/{existing}", ifMatch: "W/\"1\""),
            Entry("PATCH", $"Patient/{existing}"),
            Entry("POST", "Patient", Person("Two"))).ToJsonString());
        Assert.Equal(Hl7.Fhir.Model.Bundle.BundleType.BatchResponse, answer.Type);
        Assert.Equal(["201", "422", "412", "200", "200", "200", "404", "400", "405", "204", "400", "201"], answer.Entry.Select(e => e.Response!.Status![..3]));
        Assert.Equal("Patient", answer.Entry[3].Resource!.TypeName);
        Assert.Equal("Bundle", answer.Entry[4].Resource!.TypeName);
        Assert.All(answer.Entry.Where(e => e.Response!.Status![0] == '4'), e => Assert.NotEmpty(Assert.IsType<OperationOutcome>(e.Response!.Outcome).Issue));
        Assert.Equal(before.Versions + 3, app.State().Versions);
    }

    [Fact]
    public async Task Resources_come_back_when_representation_is_preferred()
    {
        var bundle = Bundle("transaction", Entry("POST", "Patient", Person("Wanted"), PersonUrn)).ToJsonString();
        Assert.Null((await DoneAsync(bundle)).Entry[0].Resource);
        Assert.Equal("Wanted", ((Patient)(await DoneAsync(bundle, ("Prefer", "return=representation"))).Entry[0].Resource!).Name[0].Family);
    }

    [Theory]
    [InlineData("collection", "not executed")]
    [InlineData("searchset", "not executed")]
    public async Task Only_a_batch_or_transaction_is_executed(string type, string says)
    {
        using var response = await app.SendAsync("POST", "", $$"""{"resourceType":"Bundle","type":"{{type}}"}""");
        await response.RefusedAsync(400, says);
        using var single = await app.SendAsync("POST", "", Person());
        await single.RefusedAsync(400, "/fhir/<type>");
    }

    [Theory]
    [InlineData("batch")]
    [InlineData("transaction")]
    public async Task More_than_500_entries_are_refused_before_anything_is_stored(string type)
    {
        var before = app.State();
        var entries = Enumerable.Range(0, 501).Select(i => Entry("POST", "Patient", Person($"Many{i}"))).ToArray();
        using var response = await app.SendAsync("POST", "", Bundle(type, entries).ToJsonString());
        await response.RefusedAsync(413, "500");
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task An_empty_transaction_is_done_at_once()
    {
        Assert.Empty((await DoneAsync("""{"resourceType":"Bundle","type":"transaction"}""")).Entry);
    }
}
