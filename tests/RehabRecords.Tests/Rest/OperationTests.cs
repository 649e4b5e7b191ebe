using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Rest;

public sealed class OperationTests(TradeApp app) : IClassFixture<TradeApp>
{
    private async Task<T> GetAsync<T>(string path, string accept = FhirCalls.Json)
        where T : Resource
    {
        using var response = await app.SendAsync("GET", path, null, FhirCalls.Json, ("Accept", accept));
        Assert.True(response.StatusCode == HttpStatusCode.OK, $"{path}: {response.Text()}");
        return await response.FhirAsync<T>();
    }

    private async Task<(string Person, string Programme, string Note)> PractisedAsync()
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session(of));
        return (of.Person, of.Programme, (await GetAsync<Bundle>($"/Composition?subject=Patient/{of.Person}")).Entry.Single().Resource!.Id!);
    }

    private static List<string> Matches(Bundle bundle) =>
        [.. bundle.Entry.Where(e => e.Search!.Mode == Bundle.SearchEntryMode.Match).Select(e => $"{e.Resource!.TypeName}/{e.Resource.Id}")];

    [Fact]
    public async Task Everything_gives_the_whole_record_with_its_surroundings_and_nothing_of_another_person()
    {
        var (person, programme, note) = await PractisedAsync();
        var (other, _, _) = await PractisedAsync();
        var owner = await app.CreateAsync("""{"resourceType":"Practitioner","name":[{"family":"Invented"}]}""");
        var task = await app.CreateAsync($$"""{"resourceType":"Task","status":"requested","intent":"order","for":{"reference":"Patient/{{person}}"},"owner":{"reference":"Practitioner/{{owner}}"} }""");
        var provenance = await app.CreateAsync($$"""{"resourceType":"Provenance","target":[{"reference":"Task/{{task}}"}],"recorded":"2026-06-15T12:00:00Z","agent":[{"who":{"display":"Rowan Invented"} }]}""");

        var bundle = await GetAsync<Bundle>($"/Patient/{person}/$everything");
        Assert.Equal(Bundle.BundleType.Searchset, bundle.Type);
        var matches = Matches(bundle);
        Assert.Superset(new HashSet<string> { $"Patient/{person}", $"CarePlan/{programme}", $"Composition/{note}", $"Task/{task}", $"Provenance/{provenance}" }, matches.ToHashSet());
        Assert.DoesNotContain($"Patient/{other}", matches);
        Assert.Equal(matches.Count, matches.Distinct().Count());
        var included = bundle.Entry.Where(e => e.Search!.Mode == Bundle.SearchEntryMode.Include).Select(e => e.Resource!.TypeName).ToList();
        Assert.Contains("Practitioner", included);
        Assert.Contains("Device", included);
        Assert.All(TestApp.SharedValidator.Validate(bundle), issue => Assert.False(issue.Refuses, issue.Message));

        var xml = await GetAsync<Bundle>($"/Patient/{person}/$everything", FhirCalls.Xml);
        Assert.Equal(matches, Matches(xml));
        using var posted = await app.SendAsync("POST", $"/Patient/{person}/$everything", """{"resourceType":"Parameters","parameter":[{"name":"_type","valueCode":"Task"},{"name":"_type","valueCode":"Provenance"}]}""");
        Assert.Equal([$"Provenance/{provenance}", $"Task/{task}"], Matches(await posted.FhirAsync<Bundle>()).Order());
    }

    [Fact]
    public async Task Pages_of_everything_add_up_to_the_whole()
    {
        var (person, _, _) = await PractisedAsync();
        var whole = Matches(await GetAsync<Bundle>($"/Patient/{person}/$everything"));
        var paged = new List<string>();
        for (var next = $"/Patient/{person}/$everything?_count=4"; next is not null;)
        {
            var page = await GetAsync<Bundle>(next);
            Assert.InRange(Matches(page).Count, 1, 4);
            paged.AddRange(Matches(page));
            next = page.NextLink?.ToString()[TestApp.FhirBase.Length..];
        }

        Assert.True(whole.Count > 8);
        Assert.Equal(whole, paged);
    }

    [Fact]
    public async Task Everything_can_be_narrowed_by_type_by_date_of_care_and_by_change()
    {
        var (person, _, _) = await PractisedAsync();
        var address = $"/Patient/{person}/$everything";
        Assert.All(Matches(await GetAsync<Bundle>($"{address}?_type=Observation,Procedure")), m => Assert.Matches("^(Observation|Procedure)/", m));
        Assert.Contains(Matches(await GetAsync<Bundle>($"{address}?start=2026-06-10&end=2026-06-10")), m => m.StartsWith("Procedure/", StringComparison.Ordinal));
        var earlier = Matches(await GetAsync<Bundle>($"{address}?end=2026-05-31"));
        Assert.Contains($"Patient/{person}", earlier);
        Assert.DoesNotContain(earlier, m => m.StartsWith("Procedure/", StringComparison.Ordinal));
        Assert.Empty(Matches(await GetAsync<Bundle>($"{address}?_since=2030-01-01T00:00:00Z")));
    }

    [Theory]
    [InlineData("?start=June", 400, "June")]
    [InlineData("?_type=Spaceship", 400, "Spaceship")]
    [InlineData("?_count=0", 400, "_count")]
    [InlineData("?_cursor=!!", 400, "_cursor")]
    [InlineData("?colour=red", 400, "colour")]
    public async Task Everything_refuses_what_it_cannot_read(string query, int status, string says)
    {
        var person = await app.PersonAsync();
        using var response = await app.SendAsync("GET", $"/Patient/{person}/$everything{query}");
        await response.RefusedAsync(status, says);
        using var nobody = await app.SendAsync("GET", "/Patient/nobody/$everything");
        await nobody.RefusedAsync(404);
    }

    [Fact]
    public async Task A_document_is_made_stored_on_request_and_given_again_as_it_was_frozen()
    {
        var (_, _, note) = await PractisedAsync();
        var made = await GetAsync<Bundle>($"/Composition/{note}/$document");
        Assert.Equal((Bundle.BundleType.Document, note), (made.Type, Assert.IsType<Composition>(made.Entry[0].Resource).Id));
        Assert.All(TestApp.SharedValidator.Validate(made), issue => Assert.False(issue.Refuses, issue.Message));

        using var refused = await app.SendAsync("GET", $"/Composition/{note}/$document?persist=true");
        await refused.RefusedAsync(405, "POST");
        using var stored = await app.SendAsync("POST", $"/Composition/{note}/$document?persist=true");
        Assert.True(stored.IsSuccessStatusCode, stored.Text());
        var frozen = await stored.FhirAsync<Bundle>();
        Assert.Equal(made.Identifier!.Value, frozen.Identifier!.Value);
        Assert.StartsWith($"{TestApp.FhirBase}/Bundle/{frozen.Id}/_history/", stored.Content.Headers.ContentLocation!.ToString(), StringComparison.Ordinal);

        var before = app.State();
        using var again = await app.SendAsync("POST", $"/Composition/$document", $$"""{"resourceType":"Parameters","parameter":[{"name":"id","valueUri":"Composition/{{note}}"},{"name":"persist","valueBoolean":true}]}""");
        Assert.Equal(stored.Text(), again.Text());
        Assert.Equal(before, app.State());
        Assert.Equal(frozen.Id, (await GetAsync<Bundle>($"/Composition/{note}/$document")).Id);
    }

    [Fact]
    public async Task A_template_applied_to_a_person_is_a_proposal_with_every_level_and_leaves_no_trace()
    {
        var person = await app.PersonAsync();
        var template = (await GetAsync<Bundle>("/PlanDefinition?url=https://rehabrecords.example/fhir/PlanDefinition/small-tasks")).Entry[0].Resource!;
        var before = app.State();
        var plan = await GetAsync<CarePlan>($"/PlanDefinition/{template.Id}/$apply?subject=Patient/{person}");
        Assert.Equal(before, app.State());
        Assert.Equal((RequestStatus.Draft, CarePlan.CarePlanIntent.Proposal, $"Patient/{person}"), (plan.Status, plan.Intent, plan.Subject.Reference));
        Assert.All(TestApp.SharedValidator.Validate(plan), issue => Assert.False(issue.Refuses, $"{issue.Expression} {issue.Message}"));

        var group = Assert.IsType<RequestGroup>(plan.Contained[0]);
        Assert.Equal("#" + group.Id, Assert.Single(plan.Activity).Reference!.Reference);
        var levels = Assert.Single(group.Action);
        Assert.Equal(ActionSelectionBehavior.ExactlyOne, levels.SelectionBehavior);
        Assert.Equal([1, 2], levels.Action.Select(l => l.Action.Count));
        var stacking = Assert.IsType<ServiceRequest>(plan.Contained.Single(c => "#" + c.Id == levels.Action[1].Action[0].Resource!.Reference));
        Assert.Equal((RequestStatus.Draft, RequestIntent.Proposal), (stacking.Status, stacking.Intent));
        Assert.Equal("https://rehabrecords.example/fhir/ActivityDefinition/coin-stacking|1.0.0", stacking.InstantiatesCanonical.Single());
        // The level says twelve where the exercise says ten; the side and the caution come from the person.
        Assert.Contains("12 repetitions", stacking.PatientInstruction!, StringComparison.Ordinal);
        Assert.Contains("right arm and hand", stacking.PatientInstruction!, StringComparison.Ordinal);
        Assert.Contains("12 repetitions", plan.Text!.Div!, StringComparison.Ordinal);
        await GetAsync<CarePlan>($"/PlanDefinition/{template.Id}/$apply?subject=Patient/{person}", FhirCalls.Xml);
    }

    [Fact]
    public async Task An_exercise_applied_to_a_person_is_a_proposed_prescription()
    {
        var person = await app.PersonAsync();
        var exercise = (await GetAsync<Bundle>("/ActivityDefinition?url=https://rehabrecords.example/fhir/ActivityDefinition/key-turning")).Entry[0].Resource!;
        var parameters = new JsonObject
        {
            ["resourceType"] = "Parameters",
            ["parameter"] = new JsonArray(new JsonObject { ["name"] = "subject", ["valueString"] = $"Patient/{person}" }),
        };
        using var response = await app.SendAsync("POST", $"/ActivityDefinition/{exercise.Id}/$apply", parameters.ToJsonString());
        var request = await response.FhirAsync<ServiceRequest>();
        Assert.Equal((RequestIntent.Proposal, $"Patient/{person}"), (request.Intent, request.Subject.Reference));
        Assert.All(TestApp.SharedValidator.Validate(request), issue => Assert.False(issue.Refuses, $"{issue.Expression} {issue.Message}"));
    }

    [Theory]
    [InlineData("", 400, "subject")]
    [InlineData("?subject=Patient/nobody", 422, "Patient/nobody")]
    [InlineData("?subject=Patient/a&subject=Patient/b", 400, "2 times")]
    [InlineData("?subject=Patient/a&setting=home", 400, "setting")]
    public async Task Apply_refuses_what_it_cannot_do(string query, int status, string says)
    {
        var template = (await GetAsync<Bundle>("/PlanDefinition?url=https://rehabrecords.example/fhir/PlanDefinition/small-tasks")).Entry[0].Resource!;
        using var response = await app.SendAsync("GET", $"/PlanDefinition/{template.Id}/$apply{query}");
        await response.RefusedAsync(status, says);
    }

    [Fact]
    public async Task An_operation_takes_Parameters_and_nothing_else()
    {
        var person = await app.PersonAsync();
        using var response = await app.SendAsync("POST", $"/Patient/{person}/$everything", FhirCalls.Person());
        await response.RefusedAsync(400, "Parameters");
    }
}
