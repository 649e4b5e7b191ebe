using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Access;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Retention;

/// <summary>Whose record is due, and what a legal hold does, as a records officer and others see it.</summary>
public sealed class RetentionTests(RetentionApp app) : IClassFixture<RetentionApp>
{
    private const string By = """ "by": { "name": "Sorrel Madeup", "role": "records officer" } """;

    [Fact]
    public async Task Who_is_due_is_listed_with_the_last_contact_the_rule_and_the_day()
    {
        using var all = await app.AsAsync(app.Hill);
        using var officer = await app.AsAsync(app.Officer);
        var adult = await PersonAsync(all, "1960-05-05", "2018-03-01");
        var recent = await PersonAsync(all, "1960-05-05", "2018-03-01", "2019-01-01");
        var child = await PersonAsync(all, "2001-09-05", "2018-03-01");
        var cared = await PersonAsync(all, "1960-05-05", "2010-03-01");
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/EpisodeOfCare", $$"""{"resourceType":"EpisodeOfCare","status":"active","patient":{"reference":"Patient/{{cared}}"},"period":{"start":"2010-02-01"} }""");
        // Recorded and never seen: counted from the day of that, which is today.
        var unseen = await PersonAsync(all, "1960-05-05");

        var list = await officer.ExpectAsync(HttpStatusCode.OK, "GET", "/api/retention?all=true");
        Assert.Equal(("2026-06-15", "England, NHS and under contract to it", "summary"), ((string?)list["today"], (string?)list["jurisdiction"], (string?)list["sourceKnown"]));
        Assert.Equal(("due", "2018-03-01", "2026-03-01", "8 years after the last contact on 1 March 2018"), Of(list, adult));
        Assert.Equal(("not-due", "2019-01-01", "2027-01-01", "8 years after the last contact on 1 January 2019"), Of(list, recent));
        Assert.Equal(("not-due", "2018-03-01", "2026-09-05", "the 25th birthday, since the person was under 18 at the last contact on 1 March 2018"), Of(list, child));
        Assert.Equal(("care-going-on", "2010-03-01", null, "a programme or an episode is still open"), Of(list, cared));
        Assert.Equal(("not-due", "2026-06-15", "2034-06-15"), Of(list, unseen) is var (state, contact, day, _) ? (state, contact, day) : default);

        var due = await officer.ExpectAsync(HttpStatusCode.OK, "GET", "/api/retention");
        Assert.NotNull(Line(due, adult));
        Assert.Null(Line(due, recent));
        Assert.Equal("Placeholder", ((string)Line(due, adult)!["name"]!).Split(' ')[1]);
    }

    [Fact]
    public async Task A_held_record_is_told_apart_and_the_hold_stays_in_the_record_when_it_is_lifted()
    {
        using var all = await app.AsAsync(app.Hill);
        using var officer = await app.AsAsync(app.Officer);
        var person = await PersonAsync(all, "1960-05-05", "2018-03-01");
        var hold = await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{person}/legal-holds", $$"""{ "reason": "Claim for injury, letter of June.", {{By}} }""");
        Assert.Equal(("in-force", "2026-06-15", "Sorrel Madeup, records officer"), ((string?)hold["state"], (string?)hold["since"], (string?)hold["by"]));
        var line = Line(await officer.ExpectAsync(HttpStatusCode.OK, "GET", "/api/retention"), person)!;
        Assert.Equal(("held", "Claim for injury, letter of June."), ((string?)line["state"], (string?)line["holds"]![0]!["reason"]));

        var lifting = $"/api/people/{person}/legal-holds/{hold["id"]}/lifting";
        var lifted = await officer.ExpectAsync(HttpStatusCode.OK, "POST", lifting, $$"""{ "reason": "The claim was settled.", {{By}} }""");
        Assert.Equal(("lifted", "2026-06-15", "The claim was settled."), ((string?)lifted["state"], (string?)lifted["liftedOn"], (string?)lifted["liftedBecause"]));
        Assert.Contains("nothing to lift", (await officer.ExpectAsync(HttpStatusCode.Conflict, "POST", lifting, $$"""{ "reason": "The claim was settled.", {{By}} }""")).Said());
        Assert.Equal("due", (string?)Line(await officer.ExpectAsync(HttpStatusCode.OK, "GET", "/api/retention"), person)!["state"]);
        Assert.Equal(2, (await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Flag/{hold["id"]}/_history"))["entry"]!.AsArray().Count);
    }

    [Fact]
    public async Task Nobody_but_a_records_officer_sets_or_lifts_a_hold_whichever_way_it_is_tried()
    {
        using var all = await app.AsAsync(app.Hill);
        using var officer = await app.AsAsync(app.Officer);
        var person = await PersonAsync(all, "1960-05-05", "2018-03-01");
        var body = $$"""{ "reason": "Claim for injury, letter of June.", {{By}} }""";
        await all.ExpectAsync(HttpStatusCode.Forbidden, "POST", $"/api/people/{person}/legal-holds", body);
        await all.ExpectAsync(HttpStatusCode.Forbidden, "GET", "/api/retention");
        var hold = (string)(await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{person}/legal-holds", body))["id"]!;
        var flag = await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Flag/{hold}");
        flag["status"] = "inactive";
        Assert.Contains("is a legal hold", (await all.ExpectAsync(HttpStatusCode.Forbidden, "PUT", $"/fhir/Flag/{hold}", flag.ToJsonString(), ("If-Match", "W/\"1\""))).Said());
        await all.ExpectAsync(HttpStatusCode.Forbidden, "DELETE", $"/fhir/Flag/{hold}", null, ("If-Match", "W/\"1\""));
        // Made into another kind of flag, or made anew.
        flag["category"]![0]!["coding"]![0]!["code"] = "precaution";
        await all.ExpectAsync(HttpStatusCode.Forbidden, "PUT", $"/fhir/Flag/{hold}", flag.ToJsonString(), ("If-Match", "W/\"1\""));
        flag["category"]![0]!["coding"]![0]!["code"] = "legal-hold";
        await all.ExpectAsync(HttpStatusCode.Forbidden, "POST", "/fhir/Flag", flag.ToJsonString());
        // With everything that refers to the person in one transaction.
        var bundle = $$"""{"resourceType":"Bundle","type":"transaction","entry":[{"request":{"method":"DELETE","url":"Flag/{{hold}}","ifMatch":"W/\"1\""} },{"request":{"method":"DELETE","url":"Patient/{{person}}","ifMatch":"W/\"1\""} }]}""";
        await all.ExpectAsync(HttpStatusCode.Forbidden, "POST", "/fhir", bundle);
        Assert.Equal("active", (string?)(await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Flag/{hold}"))["status"]);
        // A reason must say something, and the person must be there.
        await officer.ExpectAsync(HttpStatusCode.UnprocessableEntity, "POST", $"/api/people/{person}/legal-holds", $$"""{ "reason": "claim", {{By}} }""");
        await officer.ExpectAsync(HttpStatusCode.NotFound, "POST", "/api/people/nobody/legal-holds", body);
    }

    [Fact]
    public async Task Who_asks_for_their_data_gets_the_record_with_the_trail_and_who_saw_it()
    {
        using var all = await app.AsAsync(app.Hill);
        using var reader = await app.AsAsync(app.Reader);
        using var officer = await app.AsAsync(app.Officer);
        var (person, other) = (await PersonAsync(all, "1960-05-05", "2018-03-01"), await PersonAsync(all, "1960-05-05"));
        await reader.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{person}");
        await reader.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient?family=Placeholder");

        var accesses = (await officer.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/people/{person}/accesses")).AsArray();
        var told = accesses.Select(a => $"{a!["kind"]} {a["who"]}").ToList();
        foreach (var expected in new[] { "create System hill-all", "read System hill-reader", "search System hill-reader" })
            Assert.Contains(expected, told);
        Assert.DoesNotContain(other, accesses.ToJsonString(), StringComparison.Ordinal);
        await reader.ExpectAsync(HttpStatusCode.Forbidden, "GET", $"/api/people/{person}/accesses");
        await officer.ExpectAsync(HttpStatusCode.NotFound, "GET", "/api/people/nobody/accesses");

        using var zip = new System.IO.Compression.ZipArchive(new MemoryStream(await officer.GetByteArrayAsync($"/api/people/{person}/record")));
        using var trail = new StreamReader(zip.GetEntry("record/AuditEvent.ndjson")!.Open());
        var lines = (await trail.ReadToEndAsync()).Split('\n', StringSplitOptions.RemoveEmptyEntries);
        Assert.All(accesses, a => Assert.Contains(lines, l => l.Contains($"\"{((string)a!["auditEvent"]!)["AuditEvent/".Length..]}\"", StringComparison.Ordinal)));
        Assert.Contains(lines, l => l.Contains("hill-reader", StringComparison.Ordinal) && l.Contains(person, StringComparison.Ordinal));
    }

    private static (string?, string?, string?, string?) Of(JsonNode list, string person) =>
        Line(list, person) is { } line ? ((string?)line["state"], (string?)line["lastContact"], (string?)line["dueOn"], (string?)line["why"]) : default;

    private static JsonNode? Line(JsonNode list, string person) => list["people"]!.AsArray().FirstOrDefault(p => (string?)p!["id"] == person);

    /// <summary>A person, with a result on each of the days.</summary>
    internal static async Task<string> PersonAsync(HttpClient http, string birth, params string[] contacts)
    {
        var person = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/people", TradeApp.With(TradeApp.Person, ("birthDate", $"\"{birth}\"")).ToJsonString()))["id"]!;
        foreach (var day in contacts)
            await http.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Observation",
                $$"""{"resourceType":"Observation","status":"final","code":{"text":"Seen"},"subject":{"reference":"Patient/{{person}}"},"effectiveDateTime":"{{day}}","valueString":"seen"}""");
        return person;
    }
}

/// <summary>A closed service on 15 June 2026 under the rule of England, with a records officer.</summary>
public sealed class RetentionApp : AccessApp
{
    public RetentionApp()
    {
        Clock = new TestClock(DateTimeOffset.Parse("2026-06-15T12:00:00Z"));
        Settings["RehabRecords:Retention:Jurisdiction"] = "england";
        Register(new TestClient("hill-officer", "hill", "records-officer", ["api/*", "system/*.rs", "system/AuditEvent.rs"]), new TestClient("hill-therapist", "hill", "therapist", ["api/*"]));
    }

    public TestClient Officer => More[0];

    public TestClient Therapist => More[1];
}
