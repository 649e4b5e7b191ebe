using System.Net;
using System.Text;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Microsoft.Data.Sqlite;
using RehabRecords.Audit;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Commands;
using RehabRecords.Tests.Fhir.Packages;
using RehabRecords.Tests.Rest;
using RehabRecords.Tests.Trade;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Access;

/// <summary>Who read and wrote what stands in the trail, and nobody changes the trail unnoticed.</summary>
public sealed class AuditTests(AuditTests.Audited app, ITestOutputHelper output) : IClassFixture<AuditTests.Audited>
{
    private const string Profiles = "https://profiles.ihe.net/ITI/BALP/StructureDefinition/IHE.BasicAudit.";

    public sealed class Audited : AccessApp
    {
        /// <summary>The events about a person, when all that was done is in the trail.</summary>
        public async Task<List<AuditEvent>> TrailAsync(string? person = null, string organisation = "hill")
        {
            await Service<AuditTrail>().SettleAsync(CancellationToken.None);
            var found = await StoreOf(organisation).FindAsync("AuditEvent", person is null ? "_lastUpdated=gt2020" : $"entity=Patient/{person}");
            return [.. found.Select(v => ResourceReader.Trusted<AuditEvent>(v.Json))];
        }
    }

    private static string Kind(AuditEvent audit) => $"{audit.ActionElement?.JsonValue ?? "-"} {audit.Subtype[0].Code}";

    [Fact]
    public async Task Every_read_search_and_write_of_a_persons_data_leaves_one_event_that_says_who_and_about_whom()
    {
        using var http = await app.AsAsync(app.Hill);
        var person = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Patient", FhirCalls.Person("Auditable", "audit-1")))["id"]!;
        for (var i = 0; i < 20; i++)
            await http.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{person}"));
        Assert.Equal(["C create"], (await app.TrailAsync(person)).Select(Kind).Distinct());
        Assert.Equal(21, (await app.TrailAsync(person)).Count);

        async Task<AuditEvent> OneAsync(Func<Task> act)
        {
            var before = (await app.TrailAsync(person)).Select(a => a.Id).ToHashSet();
            await act();
            return Assert.Single(await app.TrailAsync(person), a => !before.Contains(a.Id));
        }

        var read = await OneAsync(() => http.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{person}"));
        Assert.Equal("R read", Kind(read));
        Assert.Equal("hill-all", read.Agent[0].Who!.Identifier!.Value);
        Assert.Contains(read.Entity, e => e.What?.Reference == $"Patient/{person}/_history/1");
        // Twenty results are one event, and it holds the question.
        var search = await OneAsync(() => http.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Observation?subject=Patient/{person}"));
        Assert.Equal("E search", Kind(search));
        Assert.Equal($"GET /fhir/Observation?subject=Patient/{person}", Encoding.UTF8.GetString(search.Entity.Single(e => e.Query is not null).Query!));
        Assert.Equal("E search", Kind(await OneAsync(() => http.ExpectAsync(HttpStatusCode.OK, "GET", $"/api/people/{person}"))));
        Assert.Equal("E search", Kind(await OneAsync(() => http.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{person}/$everything"))));
        Assert.Equal("E search", Kind(await OneAsync(() => http.SendAsync("GET", $"/api/people/{person}/record"))));
        Assert.Equal("U update", Kind(await OneAsync(() => http.ExpectAsync(HttpStatusCode.OK, "PUT", $"/fhir/Patient/{person}", FhirCalls.Person("Auditable", "audit-1", person), ("If-Match", "W/\"1\"")))));
        var observation = (string)(await http.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Observation?subject=Patient/{person}&_count=1"))["entry"]![0]!["resource"]!["id"]!;
        Assert.Equal("D delete", Kind(await OneAsync(() => http.ExpectAsync(HttpStatusCode.NoContent, "DELETE", $"/fhir/Observation/{observation}", null, ("If-Match", "W/\"1\"")))));
    }

    [Theory]
    [InlineData(3, new[] { 1, 1, 1 })]
    [InlineData(100, null)]
    [InlineData(601, new[] { 101, 500 })]
    public void An_answer_about_several_people_leaves_an_event_for_each_and_from_a_hundred_on_names_them_together(int people, int[]? together)
    {
        var access = new NotedAccess("0199b7a2-0000-7000-8000-000000000000", DateTimeOffset.UnixEpoch, "GET /fhir/Patient", [.. Enumerable.Range(0, people).Select(n => $"p{n}")], null, null, "r1", "127.0.0.1", new("system", "s", "System", "system", null));
        var events = new AccessEvents(new RehabRecords.Host.Settings()).Of(access).ToList();
        List<string> Named(AuditEvent audit) => [.. audit.Entity.Where(e => e.Type?.Code == "1").Select(e => e.What!.Reference!)];
        Assert.Equal(together ?? Enumerable.Repeat(1, people), events.Select(e => Named(e).Count).Order());
        Assert.Equal(Enumerable.Range(0, people).Select(n => $"Patient/p{n}"), events.SelectMany(Named));
        // Tried again, they are the same ones.
        Assert.Equal(events.Select(e => e.Id), new AccessEvents(new RehabRecords.Host.Settings()).Of(access).Select(e => e.Id));
        Assert.Equal(events.Count, events.Select(e => e.Id).Distinct().Count());
        Assert.All(events, e => Assert.Matches("^[A-Za-z0-9.-]{1,64}$", e.Id));
        Assert.All(events, e => Assert.Equal("GET /fhir/Patient", Encoding.UTF8.GetString(e.Entity.Single(t => t.Query is not null).Query!)));
    }

    [Fact]
    public async Task A_search_that_finds_several_people_tells_of_each_without_naming_the_others()
    {
        using var http = await app.AsAsync(app.Hill);
        var people = new List<string>();
        for (var i = 0; i < 3; i++)
            people.Add((string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Patient", FhirCalls.Person("Severalfound")))["id"]!);
        await http.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient?name=Severalfound");
        foreach (var person in people)
        {
            var search = Assert.Single(await app.TrailAsync(person), a => Kind(a) == "E search");
            Assert.Equal($"Patient/{person}", Assert.Single(search.Entity, e => e.Type?.Code == "1").What!.Reference);
        }
    }

    [Fact]
    public async Task A_refused_access_is_told_and_is_no_read()
    {
        using var narrow = await app.AsAsync(app.Narrow);
        await narrow.ExpectAsync(HttpStatusCode.Forbidden, "GET", "/fhir/Patient?name=Refusable");
        var refused = Assert.Single(await app.TrailAsync(), a => a.Outcome == AuditEvent.AuditEventOutcome.N4 && Encoding.UTF8.GetString(a.Entity.First(e => e.Query is not null).Query!).Contains("Refusable", StringComparison.Ordinal));
        Assert.Equal("hill-observations", refused.Agent[0].Who!.Identifier!.Value);
        Assert.Null(refused.Action);
    }

    [Fact]
    public async Task What_was_refused_is_not_in_the_trail_as_written()
    {
        using var http = await app.AsAsync(app.Hill);
        var before = (await app.TrailAsync()).Count(a => a.Action is AuditEvent.AuditEventAction.C or AuditEvent.AuditEventAction.U);
        await http.ExpectAsync(HttpStatusCode.UnprocessableEntity, "POST", "/fhir/Observation", FhirCalls.Weight("Patient/nobody"));
        Assert.Equal(before, (await app.TrailAsync()).Count(a => a.Action is AuditEvent.AuditEventAction.C or AuditEvent.AuditEventAction.U));
    }

    [Fact]
    public async Task The_trail_is_read_by_those_who_may_and_written_by_nobody()
    {
        using var http = await app.AsAsync(app.Hill);
        await http.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/AuditEvent?_count=5");
        var trail = await app.TrailAsync();
        foreach (var (method, path) in new[] { ("POST", "/fhir/AuditEvent"), ("PUT", $"/fhir/AuditEvent/{trail[0].Id}"), ("PATCH", $"/fhir/AuditEvent/{trail[0].Id}"), ("DELETE", $"/fhir/AuditEvent/{trail[0].Id}") })
        {
            var (status, _) = await http.SendAsync(method, path, FhirJsonSerializer.Default.SerializeToString(trail[0]), ("If-Match", "W/\"1\""));
            Assert.Equal(HttpStatusCode.MethodNotAllowed, status);
        }

        using var reader = await app.AsAsync(app.Reader);
        await reader.ExpectAsync(HttpStatusCode.Forbidden, "GET", "/fhir/AuditEvent");
    }

    [Fact]
    public async Task All_events_are_valid_R4_and_hold_the_basic_audit_profiles()
    {
        using var http = await app.AsAsync(app.Hill);
        await CourseAsync(http);
        var trail = await app.TrailAsync();
        Assert.True(trail.Count > 20, $"{trail.Count} events");
        foreach (var audit in trail)
            Assert.DoesNotContain(await TestApp.SharedValidator.ValidateAsync(audit), i => i.Refuses);

        if (OpenProfilesTests.Audit.Value is not var (_, validator))
        {
            output.WriteLine($"{trail.Count} events are valid R4. Basic audit not run: there is no ig/balp folder in REHAB_SHARED or in ../shared beside the checkout.");
            return;
        }

        var counts = new SortedDictionary<string, int>(StringComparer.Ordinal);
        foreach (var audit in trail.Where(a => a.Outcome == AuditEvent.AuditEventOutcome.N0 && a.Type.Code == "rest"))
        {
            var about = audit.Entity.Count(e => e.Type?.Code == "1") == 1 ? "Patient" : "";
            var profile = audit.Action switch
            {
                AuditEvent.AuditEventAction.C => $"{about}Create",
                AuditEvent.AuditEventAction.R => $"{about}Read",
                AuditEvent.AuditEventAction.U => $"{about}Update",
                AuditEvent.AuditEventAction.D => $"{about}Delete",
                _ => $"{about}Query",
            };
            var said = validator.Validate(audit, Profiles + profile).Where(i => i.Refuses).ToList();
            Assert.True(said.Count == 0, $"{profile}: {string.Join("; ", said.Select(i => i.Message))} {FhirJsonSerializer.Default.SerializeToString(audit)}");
            counts[profile] = counts.GetValueOrDefault(profile) + 1;
        }

        output.WriteLine($"validated: {string.Join(", ", counts.Select(c => $"{c.Key} {c.Value}"))}; {trail.Count} events valid R4");
        Assert.Superset(new HashSet<string> { "PatientCreate", "PatientRead", "PatientQuery", "PatientUpdate", "PatientDelete" }, counts.Keys.ToHashSet());
    }

    [Fact]
    public async Task A_write_and_its_event_are_one_transaction()
    {
        using var http = await app.AsAsync(app.Hill);
        var person = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Patient", FhirCalls.Person("Together")))["id"]!;
        // No settling: the event is there as soon as the answer is.
        Assert.Single(await app.StoreOf("hill").FindAsync("AuditEvent", $"entity=Patient/{person}"));
    }

    [Fact]
    public async Task A_read_that_was_answered_is_in_the_trail_after_the_process_was_killed()
    {
        var folder = Directory.CreateTempSubdirectory("rehabrecords-killed-").FullName;
        try
        {
            var address = $"http://127.0.0.1:{RunningProgram.FreePort()}";
            string person;
            using (var program = RunningProgram.Start(folder, "--urls", address, "--data", folder, "--RehabRecords:Audit:On", "true"))
            {
                await program.UntilSaidAsync("DEMO MODE");
                using var http = new HttpClient { BaseAddress = new Uri(address) };
                person = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Patient", FhirCalls.Person("Killed")))["id"]!;
                for (var i = 0; i < 50; i++)
                    await http.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient/{person}");
            }

            using var verify = RunningProgram.Start(folder, "verify-audit", "--data", folder);
            Assert.True(await verify.EndAsync() == 0, verify.Said);
            Assert.Contains("whole: 51 events linked", verify.Said);
        }
        finally
        {
            TestEngine.Drop(folder);
        }
    }

    [Theory]
    [InlineData("change", "UPDATE version SET json=CAST(replace(CAST(json AS TEXT), 'Killed', 'Nobody') || ' ' AS BLOB) WHERE seq=(SELECT seq FROM version WHERE type='AuditEvent' ORDER BY seq LIMIT 1 OFFSET 3)", "was changed")]
    [InlineData("remove", "DELETE FROM version WHERE seq=(SELECT seq FROM version WHERE type='AuditEvent' ORDER BY seq LIMIT 1 OFFSET 3)", "was removed")]
    [InlineData("remove with its link", "DELETE FROM version WHERE type='AuditEvent' AND id=(SELECT id FROM audit_link WHERE n=4); DELETE FROM audit_link WHERE n=4", "Links 4 to 4 of the chain are missing")]
    [InlineData("cut off the end", "DELETE FROM version WHERE type='AuditEvent' AND id IN (SELECT id FROM audit_link WHERE n>5); DELETE FROM audit_link WHERE n>5", "its end was cut off")]
    [InlineData("swap two", "UPDATE audit_link SET n=-1 WHERE n=2; UPDATE audit_link SET n=2 WHERE n=3; UPDATE audit_link SET n=3 WHERE n=-1", "the hash does not fit")]
    [InlineData("change the time", "UPDATE version SET updated=updated-3600000000 WHERE seq=(SELECT seq FROM version WHERE type='AuditEvent' ORDER BY seq LIMIT 1 OFFSET 2)", "was changed")]
    [InlineData("a second version", "INSERT INTO version (type, id, version, deleted, updated, person, json) SELECT type, id, 2, 0, updated, person, json FROM version WHERE type='AuditEvent' LIMIT 1", "written once and never again")]
    public async Task The_command_finds_what_was_done_to_the_trail(string what, string sql, string said)
    {
        var folder = Directory.CreateTempSubdirectory("rehabrecords-tampered-").FullName;
        try
        {
            await using (var audited = new TestApp { Again = folder, Settings = { ["RehabRecords:Audit:On"] = "true" } })
            {
                await ((IAsyncLifetime)audited).InitializeAsync();
                var person = await audited.CreateAsync(FhirCalls.Person("Killed"));
                for (var i = 0; i < 8; i++)
                    (await audited.Http.GetAsync($"/fhir/Patient/{person}")).Dispose();
                await audited.Service<AuditTrail>().SettleAsync(CancellationToken.None);
            }

            using (var whole = RunningProgram.Start(folder, "verify-audit", "--data", folder))
                Assert.True(await whole.EndAsync() == 0, whole.Said);
            Tamper(folder, sql);
            using var verify = RunningProgram.Start(folder, "verify-audit", "--data", folder);
            Assert.True(await verify.EndAsync() == 3, $"{what}: {verify.Said}");
            Assert.Contains("NOT as it was written", verify.Said);
            Assert.Contains(said, verify.Said);
        }
        finally
        {
            TestEngine.Drop(folder);
        }
    }

    private static void Tamper(string folder, string sql)
    {
        if (TestEngine.IsPostgresql)
        {
            TestEngine.Run($"SET search_path TO {TestEngine.SchemaOf(folder)}; " + sql
                .Replace("CAST(replace(CAST(json AS TEXT), 'Killed', 'Nobody') || ' ' AS BLOB)", "convert_to(replace(convert_from(json, 'UTF8'), 'Killed', 'Nobody') || ' ', 'UTF8')", StringComparison.Ordinal));
            return;
        }

        using var connection = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = Path.Combine(folder, "records.db"), Pooling = false }.ToString());
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = sql;
        Assert.True(command.ExecuteNonQuery() > 0);
    }

    private static async Task CourseAsync(HttpClient http)
    {
        foreach (var code in new[] { "coin-stacking", "key-turning", "towel-wiping" })
            await http.SendAsync("POST", "/api/exercises", TradeApp.With(TradeApp.Exercise, ("code", $"\"{code}\""), ("title", $"\"{code}\"")).ToJsonString());
        await http.SendAsync("POST", "/api/templates", TradeApp.Template);
        var person = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/people", TradeApp.Person))["id"]!;
        var programme = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/programmes", TradeApp.Programme(person).ToJsonString()))["id"]!;
        for (var day = 10; day < 13; day++)
            await http.ExpectAsync(HttpStatusCode.Created, "POST", "/api/sessions", TradeApp.Session((person, programme), ("doneAt", $"\"2026-06-{day}T10:00:00+01:00\"")).ToJsonString());
        foreach (var path in new[] { "/api/people", $"/api/people/{person}/progress", $"/api/programmes/{programme}", $"/api/notes?person={person}", $"/fhir/CarePlan/{programme}", $"/fhir/CarePlan/{programme}/_history/1", $"/fhir/CarePlan/{programme}/_history", "/fhir/Patient", "/fhir/Patient?name=Nobodyatall", "/fhir/_history", "/fhir?_type=Observation" })
            await http.ExpectAsync(HttpStatusCode.OK, "GET", path);
        var loose = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{person}")))["id"]!;
        await http.ExpectAsync(HttpStatusCode.NoContent, "DELETE", $"/fhir/Observation/{loose}", null, ("If-Match", "W/\"1\""));
    }
}
