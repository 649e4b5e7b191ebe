using System.Diagnostics;
using System.Net;
using System.Net.Sockets;
using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Commands;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.RecordExport;

/// <summary>The zip over HTTP, whole and broken off.</summary>
public sealed class DownloadTests(TestApp app) : IClassFixture<TestApp>
{
    [Fact]
    public async Task The_route_gives_a_zip_that_is_whole()
    {
        var person = (await app.Store.CreateAsync(Samples.Person())).Id;
        using var answer = await app.Http.GetAsync($"/api/people/{person}/record");
        Assert.Equal("application/zip", answer.Content.Headers.ContentType?.MediaType);
        Assert.StartsWith("attachment; filename=\"record-", answer.Content.Headers.GetValues("Content-Disposition").Single(), StringComparison.Ordinal);
        var verdict = await ExportClinic.VerifyAsync(await answer.Content.ReadAsByteArrayAsync());
        Assert.Empty(verdict.Problems);
        Assert.Equal(TestApp.FhirBase, verdict.Manifest!.Source);
    }

    [Fact]
    public async Task A_person_who_is_not_there_is_refused_in_words()
    {
        using var answer = await app.Http.GetAsync("/api/people/nobody/record");
        Assert.Equal(HttpStatusCode.NotFound, answer.StatusCode);
        Assert.Contains("nobody", await answer.Content.ReadAsStringAsync(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_download_that_is_broken_off_leaves_no_file_and_takes_no_place_from_others()
    {
        var person = await LongRecord.FillAsync(app.Store, 3000);
        var before = Files();
        for (var i = 0; i < 6; i++)
        {
            using var client = new TcpClient();
            await client.ConnectAsync(app.Address.Host, app.Address.Port);
            var stream = client.GetStream();
            await stream.WriteAsync(Encoding.ASCII.GetBytes($"GET /api/people/{person}/record HTTP/1.1\r\nHost: x\r\n\r\n"));
            await stream.ReadExactlyAsync(new byte[20_000]);
            client.LingerState = new LingerOption(true, 0);
        }

        // More were begun than may be open at once: those broken off have let go of their places.
        var zip = await app.Http.GetByteArrayAsync($"/api/people/{person}/record");
        Assert.Empty((await ExportClinic.VerifyAsync(zip)).Problems);
        Assert.Equal(before, Files());
    }

    [Fact]
    public async Task A_record_is_as_it_was_at_one_moment_whatever_is_written_meanwhile()
    {
        var person = (await app.Store.CreateAsync(Samples.Person())).Id;
        using var export = await new RehabRecords.RecordExport.ExportRecord(app.Store, new Host.Settings()).BeginAsync(person, default);
        await app.Store.CreateAsync(Samples.Result(person, 1));
        using var zip = new MemoryStream();
        await export.WriteAsync(zip, default);
        var verdict = await ExportClinic.VerifyAsync(zip.ToArray());
        Assert.Empty(verdict.Problems);
        Assert.Equal(1, verdict.Manifest!.Versions);
    }

    [Fact]
    public async Task The_command_leaves_nothing_of_a_download_that_the_service_broke_off()
    {
        var folder = Directory.CreateTempSubdirectory("rehab-cut-").FullName;
        using var cutting = new TcpListener(IPAddress.Loopback, 0);
        cutting.Start();
        var serve = Task.Run(async () =>
        {
            using var client = await cutting.AcceptTcpClientAsync();
            await client.GetStream().ReadAtLeastAsync(new byte[4096], 20);
            await client.GetStream().WriteAsync("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n4\r\nPK\u0003\u0004\r\n"u8.ToArray());
        });
        var line = CommandLine.Parse(["export-record", "x", Path.Combine(folder, "record.zip"), "--from", $"http://127.0.0.1:{((IPEndPoint)cutting.LocalEndpoint).Port}"]);
        Assert.Equal(1, await RecordCommands.RunAsync(line, _ => throw new UnreachableException()));
        await serve;
        Assert.Empty(Directory.EnumerateFileSystemEntries(folder));
        Directory.Delete(folder);
    }

    private List<string> Files() => [.. Directory.EnumerateFiles(app.Folder, "*", SearchOption.AllDirectories).Select(f => Path.GetRelativePath(app.Folder, f)).Order(StringComparer.Ordinal)];
}

/// <summary>A record of many results.</summary>
internal static class LongRecord
{
    public static async Task<string> FillAsync(RecordStore store, int results)
    {
        var id = Guid.NewGuid().ToString("N");
        await store.RestoreAsync(Versions(id, results));
        return id;
    }

    private static IEnumerable<RecordVersion> Versions(string person, int results)
    {
        var patient = Samples.Person();
        patient.Id = person;
        yield return Version(patient);
        for (var i = 0; i < results; i++)
        {
            var result = Samples.Result(person, i % 997);
            result.Id = $"{person}-{i}";
            result.Text = new Narrative { Status = Narrative.NarrativeStatus.Generated, Div = $"<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>{string.Join(' ', Enumerable.Range(i, 60))}</p></div>" };
            yield return Version(result);
        }
    }

    private static RecordVersion Version(Resource resource)
    {
        var at = DateTimeOffset.Parse("2026-01-01T00:00:00Z");
        resource.Meta = new Meta { VersionId = "1", LastUpdated = at };
        return new RecordVersion(0, resource.TypeName, resource.Id!, 1, Deleted: false, at, ResourceWriter.Json(resource));
    }
}
