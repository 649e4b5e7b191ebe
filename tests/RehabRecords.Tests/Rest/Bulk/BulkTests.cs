using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Rest.Bulk;

/// <summary>Bulk export as a client meets it.</summary>
public sealed class BulkTests(TestApp app) : IClassFixture<TestApp>
{
    [Fact]
    public async Task Everything_current_is_exported_one_type_to_a_file_as_the_bytes_that_are_stored()
    {
        var person = (await app.Store.CreateAsync(Samples.Person())).Id;
        var result = await app.Store.CreateAsync(Samples.Result(person, 1));
        await app.Store.CreateAsync(new Practitioner { Active = true });
        using var asked = await app.SendAsync("GET", "/$export", headers: ("Prefer", "respond-async"));
        Assert.Equal(HttpStatusCode.Accepted, asked.StatusCode);
        var address = asked.Content.Headers.ContentLocation!.ToString();
        Assert.StartsWith(TestApp.FhirBase + "/bulk/", address, StringComparison.Ordinal);

        var (manifest, answer) = await BulkCalls.ManifestAsync(app, address);
        Assert.Equal($"{TestApp.FhirBase}/$export", (string?)manifest["request"]);
        Assert.False((bool)manifest["requiresAccessToken"]!);
        Assert.Empty(manifest["error"]!.AsArray());
        Assert.True(answer.Content.Headers.Expires > DateTimeOffset.Parse((string)manifest["transactionTime"]!));
        foreach (var file in manifest["output"]!.AsArray())
        {
            var lines = await BulkCalls.LinesAsync(app, file!);
            Assert.Equal((int)file!["count"]!, lines.Length);
            Assert.All(lines, line => Assert.Equal((string)file["type"]!, (string)JsonNode.Parse(line)!["resourceType"]!));
            Assert.Equal((await app.Store.FindAsync((string)file["type"]!, "")).Count, lines.Length);
        }

        Assert.Contains(Encoding.UTF8.GetString(result.Json.Span), await BulkCalls.LinesAsync(app, manifest["output"]!.AsArray().Single(f => (string)f!["type"]! == "Observation")!));
    }

    [Fact]
    public async Task At_the_patient_level_only_what_is_in_somebodys_record_is_exported()
    {
        var person = (await app.Store.CreateAsync(Samples.Person())).Id;
        var result = await app.Store.CreateAsync(Samples.Result(person, 1));
        await app.Store.CreateAsync(new Practitioner { Id = "library", Active = true });
        var provenance = await app.Store.CreateAsync(new Provenance { Target = [new ResourceReference(result.Address)], Recorded = DateTimeOffset.UnixEpoch, Agent = [new Provenance.AgentComponent { Who = new ResourceReference("Practitioner/library") }] });
        var (manifest, _) = await BulkCalls.ExportAsync(app, "/Patient/$export");
        Assert.Equal(["Patient", "Observation", "Provenance"], manifest["output"]!.AsArray().Select(f => (string)f!["type"]!));
        Assert.Contains(Encoding.UTF8.GetString(provenance.Json.Span), await BulkCalls.LinesAsync(app, manifest["output"]![2]!));
    }

    [Fact]
    public async Task Since_gives_what_changed_after_and_what_was_deleted_after()
    {
        var person = (await app.Store.CreateAsync(Samples.Person())).Id;
        var mistake = await app.Store.CreateAsync(Samples.Result(person, 1));
        var (first, _) = await BulkCalls.ExportAsync(app, "/$export");
        var since = (string)first["transactionTime"]!;
        var (nothing, _) = await BulkCalls.ExportAsync(app, $"/$export?_since={since}");
        Assert.Empty(nothing["output"]!.AsArray());
        Assert.Empty(nothing["deleted"]!.AsArray());

        await app.Store.DeleteAsync("Observation", mistake.Id, 1);
        var added = await app.Store.CreateAsync(Samples.Result(person, 2));
        var (second, _) = await BulkCalls.ExportAsync(app, $"/$export?_since={since}");
        Assert.Equal([Encoding.UTF8.GetString(added.Json.Span)], await BulkCalls.LinesAsync(app, second["output"]!.AsArray().Single()!));
        var line = Assert.Single(await BulkCalls.LinesAsync(app, second["deleted"]!.AsArray().Single()!));
        Assert.Equal(("DELETE", mistake.Address), ((string)JsonNode.Parse(line)!["entry"]![0]!["request"]!["method"]!, (string)JsonNode.Parse(line)!["entry"]![0]!["request"]!["url"]!));
    }

    [Theory]
    [InlineData("/$export?_type=Patient,Practitioner")]
    [InlineData("/$export?_type=Patient&_type=Practitioner&_outputFormat=application/fhir%2Bndjson")]
    [InlineData("/$export?_type=Patient,Practitioner&_outputFormat=ndjson")]
    public async Task Types_and_the_format_can_be_named(string path)
    {
        await app.Store.CreateAsync(Samples.Person());
        await app.Store.CreateAsync(new Practitioner { Active = true });
        var (manifest, _) = await BulkCalls.ExportAsync(app, path);
        Assert.Equal(["Patient", "Practitioner"], manifest["output"]!.AsArray().Select(f => (string)f!["type"]!));
    }

    [Fact]
    public async Task It_can_be_asked_for_by_POST_with_Parameters()
    {
        await app.Store.CreateAsync(Samples.Person());
        using var asked = await app.SendAsync("POST", "/Patient/$export", """{"resourceType":"Parameters","parameter":[{"name":"_type","valueString":"Patient"}]}""", headers: ("Prefer", "respond-async"));
        Assert.True(asked.StatusCode == HttpStatusCode.Accepted, asked.Text());
        var (manifest, _) = await BulkCalls.ManifestAsync(app, asked.Content.Headers.ContentLocation!.ToString());
        Assert.Equal(["Patient"], manifest["output"]!.AsArray().Select(f => (string)f!["type"]!));
    }

    [Theory]
    [InlineData("/$export?_outputFormat=text/csv", "_outputFormat is 'text/csv'")]
    [InlineData("/$export?_since=yesterday", "_since is 'yesterday'")]
    [InlineData("/$export?_type=Patient,Sandwich", "_type names 'Sandwich'")]
    [InlineData("/$export?_typeFilter=Patient%3Factive%3Dtrue", "'_typeFilter' is not offered")]
    public async Task What_is_not_offered_is_refused_with_the_remedy(string path, string said)
    {
        using var asked = await app.SendAsync("GET", path, headers: ("Prefer", "respond-async"));
        await asked.RefusedAsync(400, said);
    }

    [Fact]
    public async Task Lenient_handling_passes_over_what_is_not_offered()
    {
        await app.Store.CreateAsync(Samples.Person());
        using var asked = await app.SendAsync("GET", "/$export?_type=Patient,Sandwich&_typeFilter=x", headers: ("Prefer", "respond-async, handling=lenient"));
        Assert.Equal(HttpStatusCode.Accepted, asked.StatusCode);
    }

    [Fact]
    public async Task Without_the_wish_to_be_answered_later_it_is_refused()
    {
        using var asked = await app.SendAsync("GET", "/$export");
        await asked.RefusedAsync(400, "respond-async");
    }

    [Fact]
    public async Task A_deleted_export_is_gone_with_its_files()
    {
        await app.Store.CreateAsync(Samples.Person());
        using var asked = await app.SendAsync("GET", "/$export", headers: ("Prefer", "respond-async"));
        var path = BulkCalls.PathOf(asked.Content.Headers.ContentLocation!.ToString());
        var (manifest, _) = await BulkCalls.ManifestAsync(app, asked.Content.Headers.ContentLocation!.ToString());
        using var deleted = await app.SendAsync("DELETE", path);
        Assert.Equal(HttpStatusCode.Accepted, deleted.StatusCode);
        foreach (var gone in new[] { path, BulkCalls.PathOf((string)manifest["output"]![0]!["url"]!) })
        {
            using var answer = await app.SendAsync("GET", gone);
            await answer.RefusedAsync(404, "no such export");
        }

        Assert.False(Directory.Exists(Path.Combine(app.Folder, "exports", path.Split('/')[^1])));
    }

    [Theory]
    [InlineData("result.json")]
    [InlineData("order.json")]
    [InlineData("..%2F..%2Frecords.db")]
    [InlineData("%2Fetc%2Fpasswd")]
    public async Task Only_files_of_the_manifest_are_given_out(string file)
    {
        using var asked = await app.SendAsync("GET", "/$export", headers: ("Prefer", "respond-async"));
        var address = asked.Content.Headers.ContentLocation!.ToString();
        await BulkCalls.ManifestAsync(app, address);
        using var answer = await app.SendAsync("GET", $"{BulkCalls.PathOf(address)}/{file}");
        Assert.Equal(HttpStatusCode.NotFound, answer.StatusCode);
    }

    /// <summary>The time a write gets is before its commit: a chain of exports, each of what came after the last, must not lose it.</summary>
    [Fact]
    public async Task A_chain_of_exports_since_the_last_one_misses_nothing_that_is_written_meanwhile()
    {
        var person = (await app.Store.CreateAsync(Samples.Person())).Id;
        using var stop = new CancellationTokenSource(TimeSpan.FromSeconds(3));
        var written = Enumerable.Range(0, 4).Select(_ => Task.Run(async () =>
        {
            var ids = new List<string>();
            while (!stop.IsCancellationRequested)
                ids.Add((await app.Store.CreateAsync(Samples.Result(person, ids.Count))).Id);
            return ids;
        })).ToList();
        var seen = new HashSet<string>(StringComparer.Ordinal);
        var since = "1970-01-01T00:00:00Z";
        for (var last = false; ;)
        {
            var (manifest, _) = await BulkCalls.ExportAsync(app, $"/$export?_type=Observation&_since={since}");
            since = (string)manifest["transactionTime"]!;
            foreach (var file in manifest["output"]!.AsArray())
                foreach (var line in await BulkCalls.LinesAsync(app, file!))
                {
                    var resource = JsonNode.Parse(line)!;
                    seen.Add((string)resource["id"]!);
                    Assert.True(DateTimeOffset.Parse((string)resource["meta"]!["lastUpdated"]!) <= DateTimeOffset.Parse(since));
                }

            if (last)
                break;
            last = stop.IsCancellationRequested;
            if (last)
                await Task.WhenAll(written);
        }

        var all = (await Task.WhenAll(written)).SelectMany(ids => ids).ToList();
        Assert.NotEmpty(all);
        Assert.DoesNotContain(all, id => !seen.Contains(id));
    }
}
