using System.Net;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Exchange;

/// <summary>Who somebody is, and what is refused.</summary>
public class TakeInTests(Teams teams) : IClassFixture<Teams>
{
    [Fact]
    public async System.Threading.Tasks.Task A_person_is_recognised_by_an_identifier_and_gets_the_other_ones_too()
    {
        var (person, programme) = await teams.PrescribedAsync();
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        var number = sent.Entry.Select(e => e.Resource).OfType<Patient>().Single().Identifier.Single(i => i.System == "https://hospital.test/id/person").Value;
        var known = await teams.There.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("identifier", $$"""{ "system": "https://hospital.test/id/person", "value": "{{number}}" }"""), ("familyName", "\"Quite Otherwise\"")));

        var answer = await Teams.TakeInAsync(teams.There, sent);
        Assert.Equal($"Patient/{known["id"]}", (string?)answer["person"]);
        // The name there differs: shown, and not written over.
        Assert.Contains(answer["conflicts"]!.AsArray(), c => (string?)c!["resource"] == $"Patient/{known["id"]}" && c["differs"]!.AsArray().Any(d => (string?)d == "name"));
        var kept = (await teams.There.Store.GetAsync<Patient>((string)known["id"]!))!.Value.Resource;
        Assert.Equal("Quite Otherwise", kept.Name[0].Family);
        Assert.Contains(kept.Identifier, i => i.Value == $"{Teams.HospitalBase}/Patient/{person}");
        Assert.Equal($"Patient/{known["id"]}", (await teams.There.Store.GetAsync<CarePlan>(programme))!.Value.Resource.Subject.Reference);
    }

    [Fact]
    public async System.Threading.Tasks.Task A_name_never_decides_and_the_candidates_are_told()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        var family = sent.Entry.Select(e => e.Resource).OfType<Patient>().Single().Name[0].Family;
        var namesake = (string)(await teams.There.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("familyName", $"\"{family}\""))))["id"]!;

        var text = await RefusedAsync(sent, HttpStatusCode.PreconditionFailed);
        Assert.Contains($"Patient/{namesake}", text, StringComparison.Ordinal);
        var checkedOnly = await Teams.TakeInAsync(teams.There, sent, $"?person={namesake}&check=true");
        Assert.Equal($"Patient/{namesake}", (string?)checkedOnly["person"]);
        Assert.Null(await teams.There.Store.GetAsync<CarePlan>(programme));
        Assert.NotEqual($"Patient/{namesake}", (string?)(await Teams.TakeInAsync(teams.There, sent, "?person=new"))["person"]);
    }

    [Fact]
    public async System.Threading.Tasks.Task Identifiers_of_two_people_are_refused_and_so_is_another_date_of_birth()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        var patient = sent.Entry.Select(e => e.Resource).OfType<Patient>().Single();
        var ids = new List<string>();
        foreach (var value in new[] { $"one-{TradeApp.Next()}", $"two-{TradeApp.Next()}" })
        {
            patient.Identifier.Add(new Identifier("https://registry.test/id", value));
            ids.Add((string)(await teams.There.PostAsync("/api/people", TradeApp.With(TradeApp.Person, ("identifier", $$"""{ "system": "https://registry.test/id", "value": "{{value}}" }"""))))["id"]!);
        }

        var text = await RefusedAsync(sent, HttpStatusCode.PreconditionFailed);
        Assert.All(ids, id => Assert.Contains($"Patient/{id}", text, StringComparison.Ordinal));
        patient.Identifier.RemoveAt(patient.Identifier.Count - 1);
        patient.BirthDate = "1961-01-01";
        Assert.Contains("born 1956-03-02", await RefusedAsync(sent, HttpStatusCode.Conflict), StringComparison.Ordinal);
    }

    [Fact]
    public async System.Threading.Tasks.Task What_is_received_is_audited_once_for_each_time_that_something_came_of_it()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        var asked = await Teams.TakeInAsync(teams.There, sent, "?check=true");
        Assert.Empty(await teams.There.Store.FindAllAsync<AuditEvent>($"entity={asked["person"]}"));
        var answer = await Teams.TakeInAsync(teams.There, sent);
        await Teams.TakeInAsync(teams.There, sent);

        var kept = (await teams.There.Store.FindAllAsync<AuditEvent>($"entity={answer["person"]}")).Single();
        Assert.Equal(("110107", AuditEvent.AuditEventAction.C), (kept.Type!.Code, kept.Action));
        Assert.Equal(Teams.HospitalBase, kept.Agent[0].Who!.Identifier!.Value);
        Assert.Contains(kept.Entity, e => e.What?.Reference == (string?)answer["original"] && e.What?.Identifier?.Value == (string?)answer["document"]);
    }

    public static TheoryData<string, Action<Bundle>, HttpStatusCode, string> Spoilt => new()
    {
        { "a script in a narrative", b => Plan(b).Text!.Div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>Hello</p><script>alert(1)</script></div>", HttpStatusCode.BadRequest, "script" },
        { "a link that runs", b => Plan(b).Text!.Div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><a href=\"javascript:alert(1)\">Hello</a></div>", HttpStatusCode.UnprocessableEntity, "javascript" },
        { "a picture from elsewhere", b => Plan(b).Text!.Div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><img src=\"http://evil.test/x.png\" alt=\"x\"/></div>", HttpStatusCode.UnprocessableEntity, "evil.test" },
        { "markup in plain text", b => Plan(b).Title = "<b onclick=\"x()\">Programme</b>", HttpStatusCode.UnprocessableEntity, "title" },
        { "a transaction", b => b.Type = Bundle.BundleType.Transaction, HttpStatusCode.BadRequest, "" },
        { "two people", b => b.Entry.Add(new() { FullUrl = $"{Teams.HospitalBase}/Patient/other", Resource = new Patient { Id = "other", Name = [new() { Text = "Other" }] } }), HttpStatusCode.UnprocessableEntity, "" },
        { "a prescription without its dosage", b => Request(b).RemoveExtension("https://rehabrecords.example/fhir/StructureDefinition/exercise-dosage"), HttpStatusCode.UnprocessableEntity, "dosage" },
        { "a reference to what never was here", b => Plan(b).Identifier.Single(i => i.System == "urn:ietf:rfc:3986").Value = $"{Teams.CommunityBase}/CarePlan/never", HttpStatusCode.UnprocessableEntity, "never was such a resource" },
        { "an audit entry", b => { Plan(b).SupportingInfo.Add(new ResourceReference("AuditEvent/a")); b.Entry.Add(new() { FullUrl = $"{Teams.HospitalBase}/AuditEvent/a", Resource = Audit() }); }, HttpStatusCode.UnprocessableEntity, "AuditEvent is not taken in" },
    };

    [Theory, MemberData(nameof(Spoilt))]
    public async System.Threading.Tasks.Task What_is_spoilt_in_one_place_is_refused_as_a_whole(string what, Action<Bundle> spoil, HttpStatusCode status, string says)
    {
        var (_, programme) = await teams.PrescribedAsync();
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        spoil(sent);
        Assert.True((await RefusedAsync(sent, status)).Contains(says, StringComparison.Ordinal), what);
    }

    [Fact]
    public async System.Threading.Tasks.Task What_leads_elsewhere_is_kept_as_an_address_and_not_followed()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        using var trap = new System.Net.Sockets.TcpListener(IPAddress.Loopback, 0);
        trap.Start();
        var elsewhere = $"http://127.0.0.1:{((IPEndPoint)trap.LocalEndpoint).Port}/fhir/Condition/stroke";
        Plan(sent).Addresses.Add(new ResourceReference(elsewhere));
        await Teams.TakeInAsync(teams.There, sent);
        Assert.Contains((await teams.There.Store.GetAsync<CarePlan>(programme))!.Value.Resource.Addresses, a => a.Reference == elsewhere);
        Assert.False(trap.Pending());
    }

    [Fact]
    public async System.Threading.Tasks.Task A_receiver_of_base_R4_sends_results_back_in_a_plain_collection()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var sent = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        var patient = sent.Entry.Single(e => e.Resource is Patient);
        var grip = new Observation
        {
            Status = ObservationStatus.Final,
            Code = new CodeableConcept("http://loinc.org", "83174-3", "Grip strength right"),
            Subject = new ResourceReference(patient.FullUrl),
            Effective = new FhirDateTime("2026-06-14"),
            Value = new Quantity(210, "N"),
        };
        var results = new Bundle { Type = Bundle.BundleType.Collection, Entry = [patient, new() { FullUrl = $"urn:uuid:{Guid.NewGuid():D}", Resource = grip }] };
        var answer = await Teams.TakeInAsync(teams.Here, results);
        var stored = (await teams.Here.Store.GetAsync<Observation>(((string)answer["created"]!.AsArray().Single()!["resource"]!)["Observation/".Length..]))!.Value.Resource;
        Assert.Equal($"Patient/{patient.Resource!.Id}", stored.Subject!.Reference);
        Assert.Equal("unchanged", (string?)(await Teams.TakeInAsync(teams.Here, results))["outcome"]);
    }

    private async Task<string> RefusedAsync(Bundle bundle, HttpStatusCode status)
    {
        var before = teams.There.State();
        using var answer = await teams.There.Http.PostAsync("/api/exchange", Teams.Body(bundle));
        var text = await answer.Content.ReadAsStringAsync();
        Assert.True(answer.StatusCode == status, $"{(int)answer.StatusCode}: {text}");
        Assert.Equal("application/problem+json", answer.Content.Headers.ContentType!.MediaType);
        Assert.Equal(before, teams.There.State());
        return System.Text.RegularExpressions.Regex.Unescape(text);
    }

    private static CarePlan Plan(Bundle bundle) => bundle.Entry.Select(e => e.Resource).OfType<CarePlan>().Single();

    private static ServiceRequest Request(Bundle bundle) => bundle.Entry.Select(e => e.Resource).OfType<ServiceRequest>().First();

    private static AuditEvent Audit() => new()
    {
        Id = "a",
        Type = new Coding("http://terminology.hl7.org/CodeSystem/audit-event-type", "rest"),
        Recorded = DateTimeOffset.UnixEpoch,
        Agent = [new() { Requestor = true }],
        Source = new() { Observer = new ResourceReference { Display = "x" } },
    };
}
