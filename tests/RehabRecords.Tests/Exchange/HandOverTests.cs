using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Exchange;

public class HandOverTests(Teams teams) : IClassFixture<Teams>
{
    [Fact]
    public async System.Threading.Tasks.Task What_is_handed_over_is_one_valid_document_that_holds_everything()
    {
        var (person, programme) = await teams.PrescribedAsync(("goals", """[{ "description": "Button a cardigan alone", "levels": { "-2": "No button", "-1": "One button", "0": "Three buttons", "+1": "All, slowly", "+2": "All, quickly" }, "due": "2026-07-10" }]"""));
        await teams.Here.PostAsync("/api/sessions", TradeApp.Session((person, programme)));
        var bundle = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);

        Assert.Empty(TestApp.SharedValidator.Validate(bundle).Where(i => i.Refuses).Select(i => $"{i.Expression}: {i.Message}"));
        var types = bundle.Entry.Select(e => e.Resource!.TypeName).ToHashSet();
        Assert.Superset(
            new HashSet<string> { "Composition", "CarePlan", "ServiceRequest", "ActivityDefinition", "PlanDefinition", "Patient", "RelatedPerson", "Flag", "Goal", "Observation", "Procedure", "Consent", "Organization", "Practitioner" }, types);
        Assert.Equal(3, bundle.Entry.Count(e => e.Resource is ActivityDefinition));
        var held = bundle.Entry.Select(e => e.FullUrl).ToHashSet();
        Assert.All(bundle.Entry.Where(e => e.Resource is ServiceRequest).SelectMany(e => ((ServiceRequest)e.Resource!).BasedOn), r => Assert.Contains($"{Teams.HospitalBase}/{r.Reference}", held));
    }

    [Fact]
    public async System.Threading.Tasks.Task A_reader_of_base_R4_alone_reads_what_our_extensions_say()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var bundle = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        // Everything of ours is taken away: what is left must still tell all of it.
        foreach (var resource in bundle.Entry.Select(e => e.Resource).OfType<DomainResource>())
        {
            Assert.False(string.IsNullOrWhiteSpace(resource.Text?.Div), $"{resource.TypeName}/{resource.Id} has no narrative");
            resource.Extension.Clear();
        }

        var sheet = bundle.Entry.Select(e => e.Resource).OfType<Composition>().Single().Section.Single(s => s.Title == "Home sheet").Text!.Div!;
        var instructions = string.Join('\n', bundle.Entry.Select(e => e.Resource).OfType<ServiceRequest>().Select(r => r.PatientInstruction));
        foreach (var said in new[] { "3 sets of 12", "30 seconds", "ten coins", "ten buttons", "Use smaller coins", "Stop if the shoulder hurts", "right arm and hand", "Once every day" })
        {
            Assert.Contains(said, instructions, StringComparison.OrdinalIgnoreCase);
            Assert.Contains(said, sheet, StringComparison.OrdinalIgnoreCase);
        }

        Assert.Contains("pain goes above 5 of 10", sheet, StringComparison.Ordinal);
        Assert.Contains("reduced", Narrative<Flag>(bundle), StringComparison.OrdinalIgnoreCase);
        Assert.Contains("Level 2", Narrative<CarePlan>(bundle), StringComparison.Ordinal);
        Assert.Contains("Affected side: right", Narrative<Patient>(bundle), StringComparison.Ordinal);
    }

    [Fact]
    public async System.Threading.Tasks.Task The_same_record_is_handed_over_in_the_same_bytes_and_in_XML_too()
    {
        var (_, programme) = await teams.PrescribedAsync();
        var url = $"/api/programmes/{programme}/exchange?recipient={Teams.Recipient(Teams.Community)}";
        var first = await teams.Here.Http.GetByteArrayAsync(url);
        Assert.Equal(first, await teams.Here.Http.GetByteArrayAsync(url));
        using var ask = new HttpRequestMessage(HttpMethod.Get, url) { Headers = { { "Accept", "application/fhir+xml" } } };
        using var answer = await teams.Here.Http.SendAsync(ask);
        Assert.Equal("application/fhir+xml", answer.Content.Headers.ContentType!.MediaType);
        var xml = ResourceReader.Read(await answer.Content.ReadAsByteArrayAsync(), FhirFormat.Xml);
        Assert.True(xml.IsExactly(ResourceReader.Read(first, FhirFormat.Json)));
    }

    [Fact]
    public async System.Threading.Tasks.Task Without_results_the_first_and_the_latest_of_each_measure_go_along()
    {
        var (person, programme) = await teams.PrescribedAsync();
        foreach (var (day, value) in new[] { ("2026-06-02", 27), ("2026-06-09", 29) })
            await teams.Here.PostAsync("/api/measures", JsonNode.Parse($$"""{ "person": "{{person}}", "measure": "box-and-block", "side": "right", "value": {{value}}, "measuredAt": "{{day}}T10:00:00+01:00", "unit": "{blocks}/min", "assessor": {{Teams.By}} }""")!);
        await teams.Here.PostAsync("/api/sessions", TradeApp.Session((person, programme)));
        var bundle = await Teams.HandOverAsync(teams.Here, programme, Teams.Community, "&results=false");
        Assert.DoesNotContain(bundle.Entry, e => e.Resource is Procedure);
        var measures = bundle.Entry.Select(e => e.Resource).OfType<Observation>().ToList();
        Assert.Equal([25m, 29m], measures.Select(m => ((Quantity)m.Value!).Value!.Value).Order());
    }

    public static TheoryData<string, string[]> NotAgreed => new()
    {
        { "missing", ["No consent", "Record it first"] },
        { "refused", ["refused to share", "Ask again"] },
        { "expired", ["expired on 2026-06-10"] },
        { "to come", ["begins on 2026-07-01"] },
        { "withdrawn", ["withdrew"] },
    };

    [Theory, MemberData(nameof(NotAgreed))]
    public async System.Threading.Tasks.Task Without_a_consent_that_holds_nothing_leaves_and_the_refusal_is_audited(string why, string[] says)
    {
        var (person, programme) = await teams.PrescribedAsync();
        var other = Teams.Community.Replace("\"community\"", $"\"other-{TradeApp.Next()}\"", StringComparison.Ordinal);
        var consent = why switch
        {
            "missing" => null,
            "refused" => await Teams.ConsentAsync(teams.Here, person, other, ("decision", "\"deny\"")),
            "expired" => await Teams.ConsentAsync(teams.Here, person, other, ("from", "\"2026-06-01\""), ("to", "\"2026-06-10\"")),
            "to come" => await Teams.ConsentAsync(teams.Here, person, other, ("from", "\"2026-07-01\"")),
            _ => await Teams.ConsentAsync(teams.Here, person, other),
        };
        if (why == "withdrawn")
            await teams.Here.PostAsync($"/api/people/{person}/consents/{consent!["id"]}/withdrawal", JsonNode.Parse($$"""{ "recordedBy": {{Teams.By}}, "reason": "Changed their mind." }""")!);
        if (why == "missing")
        {
            // The organisation is known from somebody else's consent.
            var (another, _) = await teams.PrescribedAsync();
            await Teams.ConsentAsync(teams.Here, another, other);
        }

        using var answer = await teams.Here.Http.GetAsync($"/api/programmes/{programme}/exchange?recipient={Teams.Recipient(other)}");
        var text = await answer.Content.ReadAsStringAsync();
        Assert.True(answer.StatusCode == HttpStatusCode.Forbidden, text);
        Assert.All(says, part => Assert.Contains(part, text, StringComparison.Ordinal));
        Assert.DoesNotContain("resourceType", text, StringComparison.Ordinal);
        var kept = (await AuditAsync(person)).Single();
        Assert.Equal(AuditEvent.AuditEventOutcome.N8, kept.Outcome);
        Assert.All(says, part => Assert.Contains(part, kept.OutcomeDesc, StringComparison.Ordinal));
    }

    [Fact]
    public async System.Threading.Tasks.Task Every_disclosure_is_audited_with_what_who_and_under_which_consent()
    {
        var (person, programme) = await teams.PrescribedAsync();
        var bundle = await Teams.HandOverAsync(teams.Here, programme, Teams.Community);
        var kept = (await AuditAsync(person)).Single();
        Assert.Equal(AuditEvent.AuditEventOutcome.N0, kept.Outcome);
        Assert.Contains(kept.Entity, e => e.What?.Identifier?.Value == bundle.Identifier!.Value);
        Assert.Contains(kept.Entity, e => e.What?.Reference == $"Consent/{bundle.Entry.Select(x => x.Resource).OfType<Consent>().Single().Id}");
        Assert.Contains(kept.Agent, a => a.Who?.Display == "Fictional Vale Community Therapy");
        Assert.Empty(TestApp.SharedValidator.Validate(kept).Where(i => i.Refuses).Select(i => i.Message));
    }

    [Fact]
    public async System.Threading.Tasks.Task A_recipient_that_is_missing_or_unknown_is_told()
    {
        var (_, programme) = await teams.PrescribedAsync();
        foreach (var (query, status, says) in new[] { ("", 400, "recipient is missing"), ("?recipient=nowhere", 422, "no such organisation"), ("?recipient=https://x.test|y", 422, "no such organisation") })
        {
            using var answer = await teams.Here.Http.GetAsync($"/api/programmes/{programme}/exchange{query}");
            Assert.Equal(status, (int)answer.StatusCode);
            Assert.Contains(says, await answer.Content.ReadAsStringAsync(), StringComparison.Ordinal);
        }
    }

    private static string Narrative<T>(Bundle bundle)
        where T : DomainResource => string.Join('\n', bundle.Entry.Select(e => e.Resource).OfType<T>().Select(r => r.Text!.Div));

    private Task<IReadOnlyList<AuditEvent>> AuditAsync(string person) => teams.Here.Store.FindAllAsync<AuditEvent>($"entity=Patient/{person}");
}
