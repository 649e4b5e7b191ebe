using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Audit;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Access;
using RehabRecords.Tests.Erasure;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Merging;

/// <summary>Two records of one person become one, all of it or nothing, and nothing that was signed changes.</summary>
public sealed class MergeTests(ErasureApp app) : IClassFixture<ErasureApp>
{
    private const string By = """ "by": { "name": "Sorrel Madeup", "role": "records officer" } """;

    [Fact]
    public async System.Threading.Tasks.Task Everything_of_the_duplicate_goes_on_under_the_person_and_the_duplicate_says_so()
    {
        using var all = await app.AsAsync(app.Hill);
        using var therapist = await app.AsAsync(app.Therapist);
        var number = app.Next();
        var (person, duplicate) = (await PersonAsync(all, $"m{number}-first"), await PersonAsync(all, $"m{number}-second"));
        var programme = (string)(await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/programmes", TradeApp.Programme(duplicate).ToJsonString()))["id"]!;
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/sessions", TradeApp.Session((duplicate, programme)).ToJsonString());
        var store = app.StoreOf("hill");
        var before = await AboutAsync(store, duplicate);
        Assert.True(before.Count > 8);

        var answer = await therapist.ExpectAsync(HttpStatusCode.OK, "POST", $"/api/people/{person}/merges", Body(duplicate), ("Idempotency-Key", $"merge-{number}"));
        Assert.Equal(($"Patient/{person}", $"Patient/{duplicate}", 0), ((string)answer["person"]!, (string)answer["duplicate"]!, answer["staysSigned"]!.AsArray().Count));
        Assert.Equal(before.Count - 1, (int)answer["changed"]!);
        Assert.Equal(answer.ToJsonString(), (await therapist.ExpectAsync(HttpStatusCode.OK, "POST", $"/api/people/{person}/merges", Body(duplicate), ("Idempotency-Key", $"merge-{number}"))).ToJsonString());

        // Both Patients, the identifiers, and what is found by them.
        var goesOn = await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{person}");
        var replaced = await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{duplicate}");
        Assert.Equal([$"m{number}-first", $"m{number}-second old"], goesOn["identifier"]!.AsArray().Select(i => $"{i!["value"]} {i["use"]}".Trim()));
        Assert.Equal(("replaces", $"Patient/{duplicate}"), ((string)goesOn["link"]![0]!["type"]!, (string)goesOn["link"]![0]!["other"]!["reference"]!));
        Assert.Equal((false, "replaced-by", null), ((bool)replaced["active"]!, (string)replaced["link"]![0]!["type"]!, replaced["identifier"]));
        foreach (var identifier in new[] { "first", "second" })
            Assert.Equal(person, (string)(await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient?identifier=https://clinic.example/id/person|m{number}-{identifier}"))["entry"]![0]!["resource"]!["id"]!);
        var read = await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/people/{duplicate}");
        Assert.Equal(person, (string?)read["replacedBy"]);
        Assert.Equal(duplicate, (string?)(await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/people/{person}"))["replaces"]![0]);
        Assert.DoesNotContain((await all.ExpectAsync(HttpStatusCode.OK, "GET", "/api/people")).AsArray(), p => (string?)p!["id"] == duplicate);

        // Nothing refers to the duplicate any more but what speaks of the past; each thing has one version more.
        Assert.Equal([$"Patient/{duplicate}"], (await AboutAsync(store, duplicate)).Keys);
        var after = await AboutAsync(store, person);
        foreach (var (address, version) in before.Where(b => !b.Key.StartsWith("Patient/", StringComparison.Ordinal)))
            Assert.True(after[address] > version, $"{address} is at {after[address]}");
        Assert.Equal(2, (await store.HistoryAsync("CarePlan", programme)).Count);
        var provenance = ResourceReader.Trusted<Provenance>((await store.ReadAsync("Provenance", ((string)answer["provenance"]!).Split('/')[1]))!.Json);
        Assert.Equal(before.Count + 1, provenance.Target.Count);
        Assert.All(provenance.Target, t => Assert.Contains("/_history/", t.Reference));

        // Life goes on under the person, and not under the duplicate.
        var session = TradeApp.Session((person, programme), ("doneAt", "\"2026-06-11T10:00:00+01:00\""));
        var reported = await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/sessions", session.ToJsonString());
        Assert.Contains("2 of", (string)reported["adherence"]!["text"]!);
        session["person"] = duplicate;
        Assert.Contains($"merged into '{person}'", (await all.ExpectAsync(HttpStatusCode.UnprocessableEntity, "POST", "/api/sessions", session.ToJsonString())).Said());
        Assert.Contains($"merged into Patient/{person}", (await all.ExpectAsync(HttpStatusCode.UnprocessableEntity, "POST", "/fhir/Observation",
            $$"""{"resourceType":"Observation","status":"final","code":{"text":"Seen"},"subject":{"reference":"Patient/{{duplicate}}"},"valueString":"late"}""")).Said());
        await app.Service<AuditTrail>().SettleAsync(default);
        Assert.Empty((await store.VerifyAuditChainAsync([])).Problems);

        // Whoever is erased is erased with what was merged into them.
        using var officer = await app.AsAsync(app.Officer);
        var ask = $$"""{ "basis": "person-asked", "reason": "Letter of 12 June 2026.", "leaveOpen": true, {{By}} }""";
        Assert.Contains($"merged into Patient/{person}", (await officer.ExpectAsync(HttpStatusCode.Conflict, "POST", $"/api/people/{duplicate}/erasure", ask)).Said());
        var shown = await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{person}/erasure", ask);
        Assert.Equal([person, duplicate], shown["people"]!.AsArray().Select(p => (string)p!));
        await officer.ExpectAsync(HttpStatusCode.OK, "POST", $"/api/people/{person}/erasure/{shown["request"]}/confirmation",
            $$"""{ "person": "{{person}}", "familyName": "Placeholder", "versions": {{shown["versions"]}}, "digest": "{{shown["digest"]}}", {{By}} }""");
        foreach (var address in new[] { $"Patient/{person}", $"Patient/{duplicate}", $"CarePlan/{programme}", (string)answer["provenance"]! })
            await all.ExpectAsync(HttpStatusCode.Gone, "GET", $"/fhir/{address}");
    }

    [Fact]
    public async System.Threading.Tasks.Task What_was_signed_stays_as_it_was_signed_and_is_listed_with_the_persons_notes()
    {
        using var all = await app.AsAsync(app.Hill);
        using var therapist = await app.AsAsync(app.Therapist);
        var (person, duplicate) = (await PersonAsync(all), await PersonAsync(all));
        var note = (string)(await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Composition",
            $$"""{"resourceType":"Composition","status":"final","type":{"text":"Note"},"subject":{"reference":"Patient/{{duplicate}}"},"date":"2026-06-11","author":[{"display":"Rowan Invented"}],"title":"Signed note"}"""))["id"]!;
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Provenance",
            $$"""{"resourceType":"Provenance","target":[{"reference":"Composition/{{note}}/_history/1"}],"recorded":"2026-06-11T10:00:00Z","agent":[{"who":{"display":"Rowan Invented"} }],"signature":[{"type":[{"system":"urn:iso-astm:E1762-95:2013","code":"1.2.840.10065.1.12.1.1"}],"when":"2026-06-11T10:00:00Z","who":{"display":"Rowan Invented"},"data":"c2lnbmVk"}]}""");
        var answer = await therapist.ExpectAsync(HttpStatusCode.OK, "POST", $"/api/people/{person}/merges", Body(duplicate));
        Assert.Equal([$"Composition/{note}"], answer["staysSigned"]!.AsArray().Select(s => (string)s!));
        var kept = await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Composition/{note}");
        Assert.Equal(("1", $"Patient/{duplicate}"), ((string)kept["meta"]!["versionId"]!, (string)kept["subject"]!["reference"]!));
        Assert.Equal(1, (int)(await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Composition?subject=Patient/{person},Patient/{duplicate}&_total=accurate"))["total"]!);
    }

    [Fact]
    public async System.Threading.Tasks.Task What_is_not_clear_is_refused_with_the_remedy_and_nothing_is_changed()
    {
        using var all = await app.AsAsync(app.Hill);
        using var therapist = await app.AsAsync(app.Therapist);
        using var officer = await app.AsAsync(app.Officer);
        var (person, duplicate) = (await PersonAsync(all), await PersonAsync(all, null, "1957-03-02"));
        var store = app.StoreOf("hill");
        var state = await StateAsync(store);

        async System.Threading.Tasks.Task RefusedAsync(HttpStatusCode status, string said, string body, string? into = null)
        {
            var (was, answer) = await therapist.SendAsync("POST", $"/api/people/{into ?? person}/merges", body);
            Assert.True(was == status, $"{(int)was}: {answer}");
            Assert.Contains(said, answer.ToJsonString(), StringComparison.Ordinal);
        }

        await RefusedAsync(HttpStatusCode.PreconditionFailed, "is at version 1", Body(duplicate, version: 2));
        await RefusedAsync(HttpStatusCode.PreconditionFailed, "duplicateVersion is 7", Body(duplicate, duplicateVersion: 7));
        await RefusedAsync(HttpStatusCode.Conflict, "birth date of the two differs: 1956-03-02 and 1957-03-02", Body(duplicate));
        await RefusedAsync(HttpStatusCode.UnprocessableEntity, "names the same record", Body(person));
        await RefusedAsync(HttpStatusCode.UnprocessableEntity, "no such person", Body("nobody"));
        await RefusedAsync(HttpStatusCode.NotFound, "no person", Body(duplicate), "nobody");
        await RefusedAsync(HttpStatusCode.UnprocessableEntity, "it may have: birth-date", Body(duplicate, differs: "hair"));
        Assert.Equal(state, await StateAsync(store));

        var hold = (string)(await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{duplicate}/legal-holds", $$"""{ "reason": "Claim for injury.", {{By}} }"""))["id"]!;
        await RefusedAsync(HttpStatusCode.Conflict, "under legal hold", Body(duplicate, differs: "birth-date"));
        await officer.ExpectAsync(HttpStatusCode.OK, "POST", $"/api/people/{duplicate}/legal-holds/{hold}/lifting", $$"""{ "reason": "It was settled.", {{By}} }""");
        foreach (var one in new[] { person, duplicate })
            await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/programmes", TradeApp.Programme(one).ToJsonString());
        await RefusedAsync(HttpStatusCode.Conflict, "Both records have something under way", Body(duplicate, differs: "birth-date"));
        foreach (var plan in ResourcesOf(await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/CarePlan?subject=Patient/{duplicate}")))
        {
            plan["status"] = "revoked";
            await all.ExpectAsync(HttpStatusCode.OK, "PUT", $"/fhir/CarePlan/{plan["id"]}", plan.ToJsonString(), ("If-Match", $"W/\"{plan["meta"]!["versionId"]}\""));
        }

        // A duplicate that changes between the look and the merge.
        var patient = await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{duplicate}");
        patient["maritalStatus"] = JsonNode.Parse("""{ "text": "not told" }""");
        await all.ExpectAsync(HttpStatusCode.OK, "PUT", $"/fhir/Patient/{duplicate}", patient.ToJsonString(), ("If-Match", "W/\"1\""));
        await RefusedAsync(HttpStatusCode.PreconditionFailed, "duplicateVersion is 1", Body(duplicate, differs: "birth-date"));
        await therapist.ExpectAsync(HttpStatusCode.OK, "POST", $"/api/people/{person}/merges", Body(duplicate, duplicateVersion: 2, differs: "birth-date"));
        await RefusedAsync(HttpStatusCode.Conflict, "was merged into", Body(duplicate, version: 2, duplicateVersion: 3, differs: "birth-date"));
        await RefusedAsync(HttpStatusCode.Conflict, "was merged into", Body(person, version: 3, duplicateVersion: 2, differs: "birth-date"), duplicate);
    }

    /// <summary>All versions there are, but the trail: a refused try is noted in it.</summary>
    private static async Task<List<string>> StateAsync(RecordStore store) =>
        [.. (await store.ChangesAfterAsync(0, [.. RehabRecords.Fhir.ResourceRegistry.Standard.Kinds.Select(k => k.Type).Where(t => t != "AuditEvent")], 100_000)).Select(v => v.VersionedAddress)];

    private static IEnumerable<JsonNode> ResourcesOf(JsonNode bundle) => bundle["entry"]!.AsArray().Select(e => e!["resource"]!);

    private static string Body(string duplicate, int version = 1, int duplicateVersion = 1, string? differs = null) =>
        $$"""{ "duplicate": "{{duplicate}}", "version": {{version}}, "duplicateVersion": {{duplicateVersion}}, "reason": "Same health number on both letters.", "differs": [{{(differs is null ? "" : $"\"{differs}\"")}}], {{By}} }""";

    private static async Task<string> PersonAsync(HttpClient http, string? identifier = null, string birth = "1956-03-02")
    {
        var body = TradeApp.With(TradeApp.Person, ("birthDate", $"\"{birth}\""));
        if (identifier is not null)
            body["identifier"] = JsonNode.Parse($$"""{ "system": "https://clinic.example/id/person", "value": "{{identifier}}" }""");
        return (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/people", body.ToJsonString()))["id"]!;
    }

    /// <summary>Addresses and versions of what is about a person now, but what speaks of the past.</summary>
    private static async Task<SortedDictionary<string, int>> AboutAsync(RecordStore store, string person) => new(
        (await store.ReferrersAsync($"Patient/{person}")).Where(r => r.Type is not ("AuditEvent" or "Provenance" or "Bundle") && (r.Type != "Patient" || r.Id == person)).ToDictionary(r => r.Address, r => r.Version), StringComparer.Ordinal);
}
