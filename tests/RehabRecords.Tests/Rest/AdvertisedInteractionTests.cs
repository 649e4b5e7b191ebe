using System.Net;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using Xunit.Abstractions;
using Code = Hl7.Fhir.Model.CapabilityStatement.TypeRestfulInteraction;
using SystemCode = Hl7.Fhir.Model.CapabilityStatement.SystemRestfulInteraction;

namespace RehabRecords.Tests.Rest;

/// <summary>
/// Whatever the CapabilityStatement says can be done is done, for every type and in every format. What it names and this
/// test does not know fails, so that nothing is promised untried.
/// </summary>
public sealed class AdvertisedInteractionTests(TestApp app, ITestOutputHelper output) : IClassFixture<TestApp>
{
    private readonly List<string> _faults = [];
    private int _tried;
    private int _number;

    private async Task<CapabilityStatement> StatementAsync()
    {
        using var response = await app.SendAsync("GET", "/metadata");
        return await response.FhirAsync<CapabilityStatement>();
    }

    [Fact]
    public async Task Every_interaction_of_every_type_works_in_every_format()
    {
        var statement = await StatementAsync();
        var person = $"Patient/{await app.CreateAsync(FhirCalls.Person("Advertised"))}";
        foreach (var format in statement.Format.Select(f => f!))
        {
            foreach (var resource in statement.Rest[0].Resource)
            {
                foreach (var interaction in resource.Interaction)
                    await TryAsync($"{interaction.Code} of {resource.Type} in {format}", () => InteractAsync(statement, resource, interaction.Code!.Value, person, format));
                if (resource.ConditionalCreate == true)
                    await TryAsync($"conditional create of {resource.Type} in {format}", () => ConditionalCreateAsync(resource.Type!, person, format));
                if (resource.ConditionalUpdate == true)
                    await TryAsync($"conditional update of {resource.Type} in {format}", () => ConditionalUpdateAsync(resource.Type!, person, format));
                if (resource.ConditionalDelete == CapabilityStatement.ConditionalDeleteStatus.Single)
                    await TryAsync($"conditional delete of {resource.Type} in {format}", () => ConditionalDeleteAsync(resource.Type!, person, format));
                if (resource.ConditionalRead == CapabilityStatement.ConditionalReadStatus.FullSupport)
                    await TryAsync($"conditional read of {resource.Type} in {format}", () => ConditionalReadAsync(resource.Type!, person, format));
            }

            foreach (var interaction in statement.Rest[0].Interaction)
                await TryAsync($"{interaction.Code} in {format}", () => SystemAsync(interaction.Code!.Value, person, format));
        }

        foreach (var compartment in statement.Rest[0].Compartment)
        {
            Assert.Equal("http://hl7.org/fhir/CompartmentDefinition/patient", compartment);
            foreach (var type in app.Service<SearchParameters>().Compartment.Types.Where(t => app.Service<SearchParameters>().Compartment.LinksOf(t).Count > 0))
                await TryAsync($"compartment search of {type}", () => OkAsync("GET", $"/{person}/{type}"));
        }

        output.WriteLine($"{_tried} interactions advertised and tried, {_faults.Count} failed");
        Assert.True(_faults.Count == 0, $"{_faults.Count} of {_tried}:\n{string.Join('\n', _faults)}");
    }

    [Fact]
    public async Task Every_operation_has_a_definition_and_answers_at_every_level()
    {
        var statement = await StatementAsync();
        var person = $"Patient/{await app.CreateAsync(FhirCalls.Person("Operated"))}";
        var definitions = app.Service<PublishedDefinitions>();
        var all = statement.Rest[0].Operation.Select(o => (Type: "", Operation: o)).Concat(statement.Rest[0].Resource.SelectMany(r => r.Operation.Select(o => (Type: r.Type!, Operation: o))));
        foreach (var (type, operation) in all)
        {
            await TryAsync($"${operation.Name} on {type}", async () =>
            {
                var entry = definitions.OfType("OperationDefinition").Single(d => d.Url == operation.Definition!.Split('|')[0]);
                using (var response = await app.SendAsync("GET", $"/OperationDefinition/{entry.Id}"))
                    Assert.Equal(operation.Name, (await response.FhirAsync<OperationDefinition>()).Code);
                await OperateAsync(type, operation.Name!, person);
            });
        }

        output.WriteLine($"{_tried} operations advertised and tried, {_faults.Count} failed");
        Assert.True(_faults.Count == 0, string.Join('\n', _faults));
    }

    private async Task OperateAsync(string type, string name, string person)
    {
        switch (type, name)
        {
            case (_, "validate"):
                var body = MinimalBodies.Text(MinimalBodies.Of(type.Length == 0 ? "Patient" : type, person), FhirCalls.Json);
                await OkAsync("POST", type.Length == 0 ? "/$validate" : $"/{type}/$validate", body);
                if (type.Length > 0)
                    await OkAsync("POST", $"/{type}/{await MadeAsync(type, person)}/$validate?mode=create", body);
                break;
            case ("Patient", "everything"):
                await OkAsync("GET", $"/{person}/$everything");
                break;
            case ("Composition", "document"):
                var composition = await MadeAsync(type, person);
                await OkAsync("GET", $"/Composition/{composition}/$document");
                await OkAsync("GET", $"/Composition/$document?id=Composition/{composition}");
                break;
            case ("PlanDefinition" or "ActivityDefinition", "apply"):
                await OkAsync("GET", $"/{type}/{await MadeAsync(type, person)}/$apply?subject={person}");
                break;
            case ("" or "Patient", "export"):
                var path = type.Length == 0 ? "/$export?_type=Organization" : $"/{type}/$export?_type=Patient";
                await Bulk.BulkCalls.ExportAsync(app, path);
                break;
            // Here only that they are there and say what they need; the tests of the exchange go the whole way.
            case ("CarePlan", "hand-over"):
                await AsksForMoreAsync("GET", $"/CarePlan/{await MadeAsync(type, person)}/$hand-over", null);
                break;
            case ("", "take-in"):
                await AsksForMoreAsync("POST", "/$take-in", """{"resourceType":"Bundle","type":"collection"}""");
                break;
            default:
                throw new InvalidOperationException("it is advertised and this test does not know how to call it");
        }
    }

    private async Task InteractAsync(CapabilityStatement statement, CapabilityStatement.ResourceComponent resource, Code code, string person, string format)
    {
        var type = resource.Type!;
        if (resource.Versioning == CapabilityStatement.ResourceVersionPolicy.NoVersion)
        {
            var any = app.Service<PublishedDefinitions>().OfType(type)[0].Id;
            await OkAsync("GET", code == Code.Read ? $"/{type}/{any}" : $"/{type}?_id={any}", null, format);
            return;
        }

        var id = await MadeAsync(type, person);
        switch (code)
        {
            case Code.Create:
                using (var created = await SendAsync("POST", $"/{type}", MinimalBodies.Text(MinimalBodies.Of(type, person), format), format))
                    Is(HttpStatusCode.Created, created);
                break;
            case Code.Read:
                await OkAsync("GET", $"/{type}/{id}", null, format);
                await OkAsync("HEAD", $"/{type}/{id}", null, format);
                break;
            case Code.Vread:
                await OkAsync("GET", $"/{type}/{id}/_history/1", null, format);
                break;
            case Code.HistoryInstance:
                await OkAsync("GET", $"/{type}/{id}/_history", null, format);
                break;
            case Code.HistoryType:
                await OkAsync("GET", $"/{type}/_history?_count=2", null, format);
                break;
            case Code.SearchType:
                await OkAsync("GET", $"/{type}?_id={id}", null, format);
                using (var posted = await app.SendAsync("POST", $"/{type}/_search", $"_id={id}", "application/x-www-form-urlencoded", ("Accept", format)))
                    Is(HttpStatusCode.OK, posted);
                break;
            case Code.Update:
                var changed = MinimalBodies.Of(type, person);
                (changed.Id, changed.Language) = (id, "en-GB");
                using (var updated = await SendAsync("PUT", $"/{type}/{id}", MinimalBodies.Text(changed, format), format, ("If-Match", "W/\"1\"")))
                    Is(HttpStatusCode.OK, updated);
                break;
            case Code.Patch:
                foreach (var (patch, n) in statement.PatchFormat.Select((p, n) => (p!, n)))
                    using (var patched = await app.SendAsync("PATCH", $"/{type}/{id}", Patch(type, patch), patch, ("Accept", format), ("If-Match", $"W/\"{n + 1}\"")))
                        Is(HttpStatusCode.OK, patched);
                break;
            case Code.Delete:
                using (var deleted = await SendAsync("DELETE", $"/{type}/{id}", null, format, ("If-Match", "W/\"1\"")))
                    Is(HttpStatusCode.NoContent, deleted);
                using (var gone = await SendAsync("GET", $"/{type}/{id}", null, format))
                    Is(HttpStatusCode.Gone, gone);
                break;
            default:
                throw new InvalidOperationException("it is advertised and this test does not know it");
        }
    }

    private static string Patch(string type, string format)
    {
        if (format == "application/json-patch+json")
            return """[{"op":"add","path":"/language","value":"en"}]""";
        var language = format == FhirCalls.Xml ? "cy" : "de";
        var patch = new Parameters();
        patch.Parameter.Add(new Parameters.ParameterComponent
        {
            Name = "operation",
            Part =
            [
                new() { Name = "type", Value = new Hl7.Fhir.Model.Code("replace") },
                new() { Name = "path", Value = new FhirString($"{type}.language") },
                new() { Name = "value", Value = new Hl7.Fhir.Model.Code(language) },
            ],
        });
        return MinimalBodies.Text(patch, format);
    }

    private async Task SystemAsync(SystemCode code, string person, string format)
    {
        switch (code)
        {
            case SystemCode.Transaction or SystemCode.Batch:
                var bundle = new Bundle { Type = code == SystemCode.Batch ? Bundle.BundleType.Batch : Bundle.BundleType.Transaction };
                bundle.Entry.Add(new() { Request = new() { Method = Bundle.HTTPVerb.GET, Url = person } });
                bundle.Entry.Add(new() { FullUrl = "urn:uuid:0d7d2ba5-6ee5-4d8a-9c32-3c1b1d0c1c11", Resource = MinimalBodies.Of("Task", person), Request = new() { Method = Bundle.HTTPVerb.POST, Url = "Task" } });
                await OkAsync("POST", "", MinimalBodies.Text(bundle, format), format);
                break;
            case SystemCode.HistorySystem:
                await OkAsync("GET", "/_history?_count=3", null, format);
                break;
            case SystemCode.SearchSystem:
                await OkAsync("GET", $"?_type=Patient,Task&_id={person["Patient/".Length..]}", null, format);
                break;
            default:
                throw new InvalidOperationException("it is advertised and this test does not know it");
        }
    }

    private async Task ConditionalCreateAsync(string type, string person, string format)
    {
        var (identifier, condition) = Named();
        var body = MinimalBodies.Text(MinimalBodies.Of(type, person, identifier), format);
        using var first = await SendAsync("POST", $"/{type}", body, format, ("If-None-Exist", condition));
        Is(HttpStatusCode.Created, first);
        using var second = await SendAsync("POST", $"/{type}", body, format, ("If-None-Exist", condition));
        Is(HttpStatusCode.OK, second);
        Assert.Equal(first.Headers.Location, second.Headers.Location);
    }

    private async Task ConditionalUpdateAsync(string type, string person, string format)
    {
        // Only under an identifier is something created by a condition; what has none is updated where it is found.
        var hasIdentifier = app.Service<SearchParameters>().Find(type, "identifier") is not null;
        var (resource, condition) = hasIdentifier && Named() is var named ? (MinimalBodies.Of(type, person, named.Identifier), named.Condition) : Tagged(type, person);
        using var created = await SendAsync(hasIdentifier ? "PUT" : "POST", hasIdentifier ? $"/{type}?{condition}" : $"/{type}", MinimalBodies.Text(resource, format), format);
        Is(HttpStatusCode.Created, created);
        resource.Language = "en-GB";
        using var updated = await SendAsync("PUT", $"/{type}?{condition}", MinimalBodies.Text(resource, format), format, ("If-Match", "W/\"1\""));
        Is(HttpStatusCode.OK, updated);
    }

    private async Task ConditionalDeleteAsync(string type, string person, string format)
    {
        var (resource, condition) = Tagged(type, person);
        using var created = await SendAsync("POST", $"/{type}", MinimalBodies.Text(resource, format), format);
        Is(HttpStatusCode.Created, created);
        using var deleted = await SendAsync("DELETE", $"/{type}?{condition}", null, format, ("If-Match", "W/\"1\""));
        Is(HttpStatusCode.NoContent, deleted);
        using var again = await SendAsync("DELETE", $"/{type}?{condition}", null, format);
        Is(HttpStatusCode.NoContent, again);
    }

    private async Task ConditionalReadAsync(string type, string person, string format)
    {
        var id = await MadeAsync(type, person);
        using var read = await SendAsync("GET", $"/{type}/{id}", null, format);
        using var same = await SendAsync("GET", $"/{type}/{id}", null, format, ("If-None-Match", read.ETag()!));
        Is(HttpStatusCode.NotModified, same);
        using var since = await SendAsync("GET", $"/{type}/{id}", null, format, ("If-Modified-Since", read.Content.Headers.LastModified!.Value.ToString("R")));
        Is(HttpStatusCode.NotModified, since);
    }

    private (Identifier Identifier, string Condition) Named()
    {
        var value = $"advertised-{++_number}";
        return (new Identifier(FhirCalls.IdSystem, value), $"identifier={Uri.EscapeDataString(FhirCalls.IdSystem)}|{value}");
    }

    /// <summary>Every type can carry a tag; not every one has an identifier.</summary>
    private (Resource Resource, string Condition) Tagged(string type, string person)
    {
        var resource = MinimalBodies.Of(type, person);
        var code = $"advertised-{++_number}";
        resource.Meta = new Meta { Tag = [new Coding(FhirCalls.IdSystem, code)] };
        return (resource, $"_tag={Uri.EscapeDataString(FhirCalls.IdSystem)}|{code}");
    }

    /// <summary>A new resource of the type; what nobody may create by REST is put into the store.</summary>
    private async Task<string> MadeAsync(string type, string person)
    {
        var resource = MinimalBodies.Of(type, person);
        if (type != "AuditEvent")
            return await app.CreateAsync(MinimalBodies.Text(resource, FhirCalls.Json));
        var set = new WriteSet();
        set.Create(resource);
        await app.Store.CommitAsync(set);
        return resource.Id!;
    }

    private async Task OkAsync(string method, string path, string? body = null, string format = FhirCalls.Json)
    {
        using var response = await SendAsync(method, path, body, format);
        Is(HttpStatusCode.OK, response);
        Assert.Equal(format, response.Content.Headers.ContentType?.MediaType);
    }

    private async Task AsksForMoreAsync(string method, string path, string? body)
    {
        using var response = await app.SendAsync(method, path, body);
        Assert.Contains((int)response.StatusCode, new[] { 400, 403, 409, 422 });
        Assert.NotEmpty((await response.FhirAsync<OperationOutcome>()).Issue);
    }

    private Task<HttpResponseMessage> SendAsync(string method, string path, string? body, string format, params (string, string)[] headers) =>
        app.SendAsync(method, path, body, format, [("Accept", format), .. headers]);

    private static void Is(HttpStatusCode status, HttpResponseMessage response) =>
        Assert.True(response.StatusCode == status, $"expected {(int)status}, got {(int)response.StatusCode}: {response.Text()[..Math.Min(400, response.Text().Length)]}");

    private async Task TryAsync(string what, Func<Task> act)
    {
        _tried++;
        try
        {
            await act();
        }
        catch (Exception e)
        {
            _faults.Add($"{what}: {e.Message}");
        }
    }
}
