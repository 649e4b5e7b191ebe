using Hl7.Fhir.Model;
using Hl7.Fhir.Rest;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Rest;

/// <summary>
/// The FHIR library's own client, which knows of us only the address, goes through every interaction it has, in JSON and
/// in XML.
/// </summary>
public sealed class LibraryClientTests(TestApp app, ITestOutputHelper output) : IClassFixture<TestApp>
{
    private FhirClient Client(ResourceFormat format, ToTheTestPort? port = null) => new(
        TestApp.FhirBase,
        new FhirClientSettings { PreferredFormat = format, VerifyFhirVersion = true, ReturnPreference = ReturnPreference.Representation, UseAsync = false },
        new CheckedXml(port ?? new ToTheTestPort(app.Address)));

    [Theory]
    [InlineData(ResourceFormat.Json)]
    [InlineData(ResourceFormat.Xml)]
    public async Task It_can_do_all_that_it_knows(ResourceFormat format)
    {
        var done = 0;
        using var client = Client(format);
        var statement = await client.CapabilityStatementAsync();
        Assert.Equal(FHIRVersion.N4_0_1, statement!.FhirVersion);

        var person = await client.CreateAsync(new Patient { Name = [new HumanName { Family = "Client", Given = ["Cleo"] }], BirthDate = "1950-04-03" });
        Assert.Equal("1", person!.Meta!.VersionId);
        Assert.Equal(person.Id, (await client.ReadAsync<Patient>($"Patient/{person.Id}"))!.Id);
        person.Gender = AdministrativeGender.Female;
        var updated = await client.UpdateAsync(person, versionAware: true);
        Assert.Equal("2", updated!.Meta!.VersionId);
        Assert.Null((await client.ReadAsync<Patient>($"Patient/{person.Id}/_history/1"))!.Gender);
        Assert.Equal(AdministrativeGender.Female, (await client.RefreshAsync(person))!.Gender);
        var stale = (Patient)person.DeepCopy();
        stale.Meta!.VersionId = "1";
        Assert.Equal(System.Net.HttpStatusCode.PreconditionFailed, (await Assert.ThrowsAsync<FhirOperationException>(() => client.UpdateAsync(stale, versionAware: true))).Status);
        done += 6;

        var identifier = new Identifier(FhirCalls.IdSystem, $"client-{format}");
        var condition = new SearchParams("identifier", $"{identifier.System}|{identifier.Value}");
        var team = new Organization { Name = "Team of Invention", Identifier = [identifier] };
        var first = await client.ConditionalCreateAsync(team, condition);
        Assert.Equal(first!.Id, (await client.ConditionalCreateAsync(team, condition))!.Id);
        done++;

        for (var i = 0; i < 5; i++)
            await client.CreateAsync(new Observation { Status = ObservationStatus.Final, Code = new CodeableConcept { Text = "Grip" }, Subject = new ResourceReference($"Patient/{person.Id}") });
        var query = new SearchParams().Where($"subject=Patient/{person.Id}").Include("Observation:subject").LimitTo(2);
        var seen = new List<string>();
        for (var page = await client.SearchAsync<Observation>(query); page is not null; page = await client.ContinueAsync(page))
        {
            seen.AddRange(page.Entry.Where(e => e.Search!.Mode == Bundle.SearchEntryMode.Match).Select(e => e.Resource!.Id!));
            Assert.Contains(page.Entry, e => e.Search!.Mode == Bundle.SearchEntryMode.Include && e.Resource!.Id == person.Id);
        }

        Assert.Equal((5, 5), (seen.Count, seen.Distinct().Count()));
        Assert.Equal(person.Id, Assert.Single((await client.SearchByIdAsync<Patient>(person.Id!))!.Entry).Resource!.Id);
        Assert.Equal(5, (await client.SearchUsingPostAsync<Observation>(new SearchParams().Where($"subject=Patient/{person.Id}")))!.Entry.Count);
        Assert.Equal(5, (await client.SearchAsync<Observation>(new SearchParams().Where($"subject=Patient/{person.Id}").SummaryOnly(SummaryType.Count)))!.Total);
        done += 5;

        Assert.Equal(2, (await client.HistoryAsync($"Patient/{person.Id}"))!.Entry.Count);
        Assert.NotEmpty((await client.TypeHistoryAsync<Patient>(pageSize: 3))!.Entry);
        Assert.NotEmpty((await client.WholeSystemHistoryAsync(pageSize: 3))!.Entry);
        done += 3;

        var builder = new TransactionBuilder(TestApp.FhirBase);
        builder.Create(new Device { DeviceName = [new() { Name = "Peg board", Type = DeviceNameType.UserFriendlyName }] }).Get($"Patient/{person.Id}");
        var answer = await client.TransactionAsync(builder.ToBundle());
        Assert.Equal(["201", "200"], answer!.Entry.Select(e => e.Response!.Status![..3]));
        done++;

        var everything = (Bundle)(await client.InstanceOperationAsync(new Uri($"{TestApp.FhirBase}/Patient/{person.Id}"), "everything", useGet: true))!;
        Assert.Equal(6, everything.Entry.Count);
        var verdict = await client.ValidateResourceAsync(new Patient { Gender = AdministrativeGender.Male });
        Assert.DoesNotContain(verdict!.Issue, i => i.Severity == OperationOutcome.IssueSeverity.Error);
        done += 2;

        await client.DeleteAsync($"Observation/{seen[0]}");
        Assert.Equal(System.Net.HttpStatusCode.Gone, (await Assert.ThrowsAsync<FhirOperationException>(() => client.ReadAsync<Observation>($"Observation/{seen[0]}"))).Status);
        done += 2;

        var profile = await client.SearchAsync<StructureDefinition>(new SearchParams("url", "https://rehabrecords.example/fhir/StructureDefinition/programme"));
        Assert.Equal("programme", Assert.Single(profile!.Entry).Resource!.Id);
        done++;
        output.WriteLine($"{done} kinds of call in {format}");
    }

    [Theory]
    [InlineData(ResourceFormat.Json)]
    [InlineData(ResourceFormat.Xml)]
    public async Task It_patches_and_does_under_a_condition_all_that_it_knows(ResourceFormat format)
    {
        var port = new ToTheTestPort(app.Address);
        using var client = Client(format, port);
        var made = (await client.CreateAsync(new Organization { Name = "Team one", Identifier = [new Identifier(FhirCalls.IdSystem, $"patched-{format}")] }))!;
        var byIdentifier = new SearchParams("identifier", $"{FhirCalls.IdSystem}|patched-{format}");

        var patched = await client.PatchAsync<Organization>(made.Id!, Replace("Organization.name", "Team two"), "1");
        Assert.Equal(("2", "Team two"), (patched!.Meta!.VersionId, patched.Name));
        Assert.Equal(System.Net.HttpStatusCode.PreconditionFailed, (await Assert.ThrowsAsync<FhirOperationException>(() => client.PatchAsync<Organization>(made.Id!, Replace("Organization.name", "Late"), "1"))).Status);
        // What the client has no word for is the version; what it would lose without one it is told.
        Assert.Equal(428, (int)(await Assert.ThrowsAsync<FhirOperationException>(() => client.ConditionalPatchAsync<Organization>(byIdentifier, Replace("Organization.name", "Blind")))).Status);
        port.Version = "2";
        Assert.Equal("Team three", (await client.ConditionalPatchAsync<Organization>(byIdentifier, Replace("Organization.name", "Team three")))!.Name);
        port.Version = "3";
        Assert.Equal("Team four", (await client.PatchAsync<Organization>(made.Id!, """[{ "op": "replace", "path": "/name", "value": "Team four" }]""", ResourceFormat.Json))!.Name);

        var read = (await client.ReadAsync<Organization>($"Organization/{made.Id}"))!;
        read.Name = "Team five";
        var updated = await client.ConditionalUpdateAsync(read, byIdentifier, versionAware: true);
        Assert.Equal((made.Id, "5"), (updated!.Id, updated.Meta!.VersionId));
        var other = new Organization { Name = "Made by update", Identifier = [new Identifier(FhirCalls.IdSystem, $"upsert-{format}")] };
        Assert.Equal("1", (await client.ConditionalUpdateAsync(other, new SearchParams("identifier", $"{FhirCalls.IdSystem}|upsert-{format}")))!.Meta!.VersionId);

        port.Version = "5";
        await client.ConditionalDeleteSingleAsync(byIdentifier, "Organization", "5");
        Assert.Equal(System.Net.HttpStatusCode.Gone, (await Assert.ThrowsAsync<FhirOperationException>(() => client.ReadAsync<Organization>($"Organization/{made.Id}"))).Status);
        // Deleting many at once is not offered, and is not taken for deleting one.
        var many = new[] { await client.CreateAsync(new Device { LotNumber = "1" }), await client.CreateAsync(new Device { LotNumber = "2" }) };
        Assert.Equal(System.Net.HttpStatusCode.PreconditionFailed, (await Assert.ThrowsAsync<FhirOperationException>(() =>
            client.ConditionalDeleteMultipleAsync(new SearchParams("_id", string.Join(',', many.Select(d => d!.Id))), "Device"))).Status);
    }

    private static Parameters Replace(string path, string value) => new()
    {
        Parameter =
        [
            new()
            {
                Name = "operation",
                Part =
                [
                    new() { Name = "type", Value = new Code("replace") },
                    new() { Name = "path", Value = new FhirString(path) },
                    new() { Name = "value", Value = new FhirString(value) },
                ],
            },
        ],
    };

    /// <summary>The service hands out its public address; in a test it listens elsewhere.</summary>
    private sealed class ToTheTestPort(Uri address) : DelegatingHandler(new SocketsHttpHandler())
    {
        /// <summary>The version to name where the client has no word for it.</summary>
        public string? Version { get; set; }

        protected override Task<HttpResponseMessage> SendAsync(HttpRequestMessage request, CancellationToken cancellationToken)
        {
            // A deletion must name its version, and this client has no word for that.
            if (!request.Headers.Contains("If-Match") && (request.Method == HttpMethod.Delete || (request.Method == HttpMethod.Patch && Version is not null)))
                request.Headers.TryAddWithoutValidation("If-Match", $"W/\"{Version ?? "1"}\"");
            request.RequestUri = new UriBuilder(request.RequestUri!) { Host = address.Host, Port = address.Port }.Uri;
            return base.SendAsync(request, cancellationToken);
        }
    }
}
