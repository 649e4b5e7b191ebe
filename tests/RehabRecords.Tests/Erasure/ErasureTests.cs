using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using Npgsql;
using RehabRecords.Audit;
using RehabRecords.Fhir.Store;
using RehabRecords.Pages.Caseload;
using RehabRecords.Tests.Access;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Erasure;

/// <summary>A record is erased so that nothing of it is found in any answer or in the bytes on the disk, and nothing else is touched.</summary>
public sealed class ErasureTests(ErasureApp app) : IClassFixture<ErasureApp>
{
    private const string By = """ "by": { "name": "Sorrel Madeup", "role": "records officer" } """;

    private string Folder => Path.Combine(app.Folder, "organisations", "hill");

    [Fact]
    public async Task Nothing_of_an_erased_person_is_left_in_any_answer_or_in_the_bytes_and_another_record_is_as_it_was()
    {
        using var all = await app.AsAsync(app.Hill);
        using var officer = await app.AsAsync(app.Officer);
        var (gone, stays) = (new Marked(all, app.Next()), new Marked(all, app.Next()));
        await gone.MakeAsync();
        await stays.MakeAsync();
        // One event about both, and a hold that was lifted.
        await all.ExpectAsync(HttpStatusCode.OK, "GET", "/api/people");
        var hold = (string)(await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{gone.Person}/legal-holds", $$"""{ "reason": "Held because of {{gone.Of("hold")}}.", {{By}} }"""))["id"]!;
        Assert.Contains("under legal hold", (await officer.ExpectAsync(HttpStatusCode.Conflict, "POST", $"/api/people/{gone.Person}/erasure", Ask("person-asked", true))).Said());
        await officer.ExpectAsync(HttpStatusCode.OK, "POST", $"/api/people/{gone.Person}/legal-holds/{hold}/lifting", $$"""{ "reason": "The claim was settled.", {{By}} }""");
        var export = await OrderExportAsync(all);
        await app.Service<AuditTrail>().SettleAsync(default);
        var store = app.StoreOf("hill");
        await store.ExtendAuditChainAsync();
        using var caseload = new FollowedCaseload(store, app.Service<RehabRecords.Host.Settings>(), app.Clock!);
        Assert.Contains(await caseload.ReadAsync(default), l => l.Id == gone.Person);
        var others = await OthersAsync(store, gone.Person);
        var theirs = await RecordAsync(store, stays.Person);

        // The control: before it, every mark is found.
        Assert.All(RawBytes.Find(gone.All, RawBytes.Of(Folder)), found => Assert.True(found.Value > 0, $"{found.Key} is not found before"));

        var open = await officer.ExpectAsync(HttpStatusCode.Conflict, "POST", $"/api/people/{gone.Person}/erasure", Ask("person-asked", false));
        Assert.Contains(open["errors"]!.AsArray(), e => ((string)e!["message"]!).Contains("programme “", StringComparison.Ordinal));
        Assert.Contains(open["errors"]!.AsArray(), e => ((string)e!["message"]!).Contains("not signed", StringComparison.Ordinal));
        Assert.Contains("the time is not over", (await officer.ExpectAsync(HttpStatusCode.Conflict, "POST", $"/api/people/{gone.Person}/erasure", Ask("retention-over", true))).Said());
        var shown = await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{gone.Person}/erasure", Ask("person-asked", true));
        Assert.Equal((gone.Of("family"), "Observation"), ((string?)shown["familyName"], shown["types"]!.AsArray().Select(t => (string?)t!["type"]).FirstOrDefault(t => t == "Observation")));
        Assert.True((int)shown["auditEvents"]! > 5);
        await RefusedAsync(officer, gone, shown, "versions is", ("versions", 1));
        await RefusedAsync(officer, gone, shown, "nothing was erased", ("familyName", "Somebody"));
        await RefusedAsync(officer, gone, shown, "nothing was erased", ("person", stays.Person));
        await RefusedAsync(officer, gone, shown, "changed since it was shown", ("digest", new string('0', 64)));
        Assert.Equal(others, await OthersAsync(store, gone.Person));

        var digest = new string('a', 64);
        await using var before = TestEngine.IsPostgresql ? await AnotherReaderAsync() : null;
        var done = await officer.ExpectAsync(HttpStatusCode.OK, "POST", Confirmation(gone, shown), Confirm(gone, shown, ("recordDigest", digest)).ToJsonString());
        Assert.Equal(((long)shown["versions"]!, (string)shown["digest"]!, digest), ((long)done["erasure"]!["versions"]!, (string)done["erasure"]!["digest"]!, (string)done["erasure"]!["recordDigest"]!));
        Assert.Equal(!TestEngine.IsPostgresql, (bool)done["remainsCleared"]!);

        // In the bytes; before anybody asks again, since a question is in the trail with its words.
        if (before is not null)
        {
            // Somebody else's transaction that began before may see the deleted rows still, so they are kept however often a table is written anew.
            Assert.False(await store.ClearRemainsAsync(all: true, TimeSpan.FromSeconds(1)));
            Assert.Contains(RawBytes.Find(gone.All, RawBytes.Of(Folder)), found => found.Value > 0);
            await before.DisposeAsync();
            Assert.True(await store.ClearRemainsAsync(all: true, TimeSpan.FromMinutes(2)));
        }

        Assert.All(RawBytes.Find(gone.All, RawBytes.Of(Folder)), found => Assert.True(found.Value == 0, $"{found.Key} is found {found.Value} times"));
        Assert.DoesNotContain(gone.Person, await TestEngine.AllTextAsync(store), StringComparison.Ordinal);
        Assert.All(RawBytes.Find([.. stays.All.Where(m => m != stays.Of("hold"))], RawBytes.Of(Folder)), found => Assert.True(found.Value > 0, found.Key));

        // In answers.
        foreach (var path in new[] { gone.Patient, $"{gone.Patient}/_history/1", $"{gone.Patient}/_history", $"CarePlan/{gone.Programme}", $"Flag/{hold}" })
            Assert.Contains("was erased on 2026-06-15", (await all.ExpectAsync(HttpStatusCode.Gone, "GET", $"/fhir/{path}")).Said());
        foreach (var path in new[] { $"people/{gone.Person}", $"people/{gone.Person}/record", $"programmes/{gone.Programme}" })
            Assert.Contains("was erased on 2026-06-15", (await officer.ExpectAsync(HttpStatusCode.Gone, "GET", $"/api/{path}")).Said());
        foreach (var query in new[] { $"Patient?identifier={gone.Of("identifier")}", $"Patient?family={gone.Of("family")}", $"Observation?subject={gone.Patient}", $"AuditEvent?entity={gone.Patient}", $"Task?patient={gone.Patient}" })
            Assert.Equal(0, (int)(await (query.StartsWith("Audit", StringComparison.Ordinal) ? officer : all).ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/{query}&_total=accurate"))["total"]!);
        Assert.DoesNotContain(gone.Person, (await all.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/_history?_count=1000")).ToJsonString(), StringComparison.Ordinal);
        await all.ExpectAsync(HttpStatusCode.NotFound, "GET", export);
        Assert.DoesNotContain(await caseload.ReadAsync(default), l => l.Id == gone.Person);
        Assert.Contains(await caseload.ReadAsync(default), l => l.Id == stays.Person);
        var told = (await officer.ExpectAsync(HttpStatusCode.OK, "GET", "/api/erasures")).AsArray();
        Assert.Equal(("person-asked", "Sorrel Madeup, records officer"), told.Where(t => (string?)t!["id"] == (string?)done["erasure"]!["id"]).Select(t => ((string)t!["basis"]!, (string)t["by"]!)).Single());

        // Everybody else's record, and the trail.
        Assert.Equal(theirs, await RecordAsync(store, stays.Person));
        Assert.Equal(others, await OthersAsync(store, gone.Person));
        var verdict = await store.VerifyAuditChainAsync(AuditTrail.AnchorsOf(app.Folder, "hill"));
        Assert.Empty(verdict.Problems);
        Assert.True(verdict.Gaps > 5);
    }

    [Fact]
    public async Task What_an_erasure_left_of_the_trail_is_not_changed_unnoticed()
    {
        using var all = await app.AsAsync(app.Hill);
        using var officer = await app.AsAsync(app.Officer);
        var gone = new Marked(all, app.Next());
        await gone.MakeAsync();
        await app.Service<AuditTrail>().SettleAsync(default);
        var shown = await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{gone.Person}/erasure", Ask("court-order", true));
        await officer.ExpectAsync(HttpStatusCode.OK, "POST", Confirmation(gone, shown), Confirm(gone, shown).ToJsonString());
        var store = app.StoreOf("hill");
        await store.ExtendAuditChainAsync();
        var anchors = AuditTrail.AnchorsOf(app.Folder, "hill");
        Assert.Empty((await store.VerifyAuditChainAsync(anchors)).Problems);

        const string Left = "(SELECT id FROM audit_link WHERE n=(SELECT max(n) FROM audit_gap))";
        await FindsAsync("what is left", $"UPDATE version SET json={Longer("json")} WHERE type='AuditEvent' AND id={Left}", "of which an erasure left a part, was changed");
        await FindsAsync("another event is made poorer", $"INSERT INTO audit_gap (n, tombstone, remaining) SELECT 1, id, '{new string('0', 64)}' FROM tombstone WHERE made=(SELECT max(made) FROM tombstone)", "is not what was left");
        await FindsAsync("the tombstone is taken away", "DELETE FROM tombstone", "no tombstone");
        await FindsAsync("an event is taken away", $"DELETE FROM version WHERE type='AuditEvent' AND id={Left}", "was removed");

        async Task FindsAsync(string what, string sql, string said)
        {
            var found = await store.Writers.EnqueueAsync(s =>
            {
                s.Run(sql);
                var verdict = AuditChain.Verify(s, anchors);
                return Throw(verdict);
            }, default).ContinueWith(t => ((Verdict)t.Exception!.InnerException!).Found, TaskScheduler.Default);
            Assert.True(string.Join("; ", found.Problems).Contains(said, StringComparison.Ordinal), $"{what}: {string.Join("; ", found.Problems)}");
        }
    }

    [Fact]
    public async Task Nobody_but_a_records_officer_erases()
    {
        using var all = await app.AsAsync(app.Hill);
        using var therapist = await app.AsAsync(app.Therapist);
        var person = (string)(await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/people", TradeApp.Person))["id"]!;
        foreach (var http in new[] { all, therapist })
        {
            await http.ExpectAsync(HttpStatusCode.Forbidden, "POST", $"/api/people/{person}/erasure", Ask("person-asked", true));
            await http.ExpectAsync(HttpStatusCode.Forbidden, "POST", $"/api/people/{person}/erasure/erasure-1/confirmation", "{}");
            await http.ExpectAsync(HttpStatusCode.Forbidden, "GET", "/api/erasures");
        }

        using var officer = await app.AsAsync(app.Officer);
        Assert.Contains("one of: retention-over", (await officer.ExpectAsync(HttpStatusCode.UnprocessableEntity, "POST", $"/api/people/{person}/erasure", Ask("because", true))).Said());
        await officer.ExpectAsync(HttpStatusCode.NotFound, "POST", $"/api/people/{person}/erasure/erasure-1/confirmation", Confirm(person, "Placeholder", 1, new string('0', 64)).ToJsonString());
        // A request that is a week old, and one that was replaced by another.
        var first = await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{person}/erasure", Ask("recorded-by-mistake", true));
        var second = await officer.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/people/{person}/erasure", Ask("recorded-by-mistake", true));
        var body = Confirm(person, "Placeholder", (long)second["versions"]!, (string)second["digest"]!).ToJsonString();
        Assert.Contains("no open request", (await officer.ExpectAsync(HttpStatusCode.Conflict, "POST", $"/api/people/{person}/erasure/{first["request"]}/confirmation", body)).Said());
        // Something is written after it was shown.
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Observation", $$"""{"resourceType":"Observation","status":"final","code":{"text":"Seen"},"subject":{"reference":"Patient/{{person}}"},"valueString":"later"}""");
        await officer.ExpectAsync(HttpStatusCode.Conflict, "POST", $"/api/people/{person}/erasure/{second["request"]}/confirmation", body);
        Assert.Equal("Placeholder", (string?)(await officer.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/people/{person}"))["familyName"]);
    }

    /// <summary>Reads in the same database as the service does, but from elsewhere; until it is disposed.</summary>
    private static async Task<NpgsqlConnection> AnotherReaderAsync()
    {
        var reader = new NpgsqlConnection(TestEngine.Connection + ";Pooling=false");
        await reader.OpenAsync();
        await using var begin = new NpgsqlCommand("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY; SELECT count(*) FROM pg_class", reader);
        await begin.ExecuteNonQueryAsync();
        return reader;
    }

    private static AuditVerdict Throw(AuditVerdict found) => throw new Verdict(found);

    /// <summary>Taken back by the queue, as whatever throws is.</summary>
    private sealed class Verdict(AuditVerdict found) : Exception
    {
        public AuditVerdict Found => found;
    }

    private static string Longer(string column) => TestEngine.IsPostgresql ? $"convert_to(convert_from({column}, 'UTF8') || ' ', 'UTF8')" : $"CAST(CAST({column} AS TEXT) || ' ' AS BLOB)";

    private static string Ask(string basis, bool leaveOpen) => $$"""{ "basis": "{{basis}}", "reason": "Letter of 12 June 2026.", "leaveOpen": {{(leaveOpen ? "true" : "false")}}, {{By}} }""";

    private static string Confirmation(Marked person, JsonNode shown) => $"/api/people/{person.Person}/erasure/{shown["request"]}/confirmation";

    private static JsonObject Confirm(Marked person, JsonNode shown, params (string Name, JsonNode Value)[] changes)
    {
        var body = Confirm(person.Person, person.Of("family"), (long)shown["versions"]!, (string)shown["digest"]!);
        foreach (var (name, value) in changes)
            body[name] = value;
        return body;
    }

    private static JsonObject Confirm(string person, string family, long versions, string digest) =>
        JsonNode.Parse($$"""{ "person": "{{person}}", "familyName": "{{family}}", "versions": {{versions}}, "digest": "{{digest}}", {{By}} }""")!.AsObject();

    private static async Task RefusedAsync(HttpClient officer, Marked person, JsonNode shown, string said, (string Name, JsonNode Value) change)
    {
        var (status, answer) = await officer.SendAsync("POST", Confirmation(person, shown), Confirm(person, shown, change).ToJsonString());
        Assert.True(status is HttpStatusCode.Conflict or HttpStatusCode.UnprocessableEntity, $"{(int)status}: {answer}");
        Assert.Contains(said, answer.Said(), StringComparison.Ordinal);
    }

    private static async Task<string> OrderExportAsync(HttpClient http)
    {
        using var ask = new HttpRequestMessage(HttpMethod.Get, "/fhir/$export");
        ask.Headers.TryAddWithoutValidation("Prefer", "respond-async");
        using var answer = await http.SendAsync(ask);
        Assert.Equal(HttpStatusCode.Accepted, answer.StatusCode);
        return new Uri(answer.Content.Headers.ContentLocation?.ToString() ?? answer.Headers.GetValues("Content-Location").Single()).PathAndQuery;
    }

    /// <summary>All versions of a record but the trail, as bytes.</summary>
    private static async Task<List<string>> RecordAsync(RecordStore store, string person)
    {
        var all = new List<string>();
        await foreach (var version in store.OfPatientAsync(person, allVersions: true))
            if (version.Type != "AuditEvent")
                all.Add($"{version.Sequence} {version.VersionedAddress} {version.LastUpdated:O} {Encoding.UTF8.GetString(version.Json.Span)}");
        return all;
    }

    /// <summary>All versions that are about somebody else or about nobody, but the trail.</summary>
    private static async Task<List<string>> OthersAsync(RecordStore store, string person)
    {
        var theirs = new HashSet<string>();
        await foreach (var version in store.OfPatientAsync(person, allVersions: true))
            theirs.Add(version.Address);
        var all = await store.ChangesAfterAsync(0, [.. RehabRecords.Fhir.ResourceRegistry.Standard.Kinds.Select(k => k.Type).Where(t => t != "AuditEvent")], 100_000);
        return [.. all.Where(v => !theirs.Contains(v.Address) && !Encoding.UTF8.GetString(v.Json.Span).Contains(person, StringComparison.Ordinal)).Where(v => !v.Deleted).Select(v => $"{v.Sequence} {v.VersionedAddress} {Encoding.UTF8.GetString(v.Json.Span)}")];
    }
}

/// <summary>A closed service on 15 June 2026 with a library, a records officer and a therapist.</summary>
public sealed class ErasureApp : AccessApp, IAsyncLifetime
{
    private int _count;

    public ErasureApp()
    {
        Clock = new TestClock(DateTimeOffset.Parse("2026-06-15T12:00:00Z"));
        Settings["RehabRecords:Retention:Jurisdiction"] = "england";
        Register(new TestClient("hill-officer", "hill", "records-officer", ["api/*", "system/*.rs", "system/AuditEvent.rs"]), new TestClient("hill-therapist", "hill", "therapist", ["api/*"]));
    }

    public TestClient Officer => More[0];

    public TestClient Therapist => More[1];

    public int Next() => Interlocked.Increment(ref _count);

    async Task IAsyncLifetime.InitializeAsync()
    {
        await InitializeAsync();
        using var all = await AsAsync(Hill);
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/exercises", TradeApp.Exercise);
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/exercises", TradeApp.With(TradeApp.Exercise, ("code", "\"key-turning\""), ("title", "\"Turning a key\"")).ToJsonString());
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/exercises", TradeApp.With(TradeApp.Exercise, ("code", "\"towel-wiping\""), ("title", "\"Wiping with a towel\"")).ToJsonString());
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/templates", TradeApp.Template);
    }
}
