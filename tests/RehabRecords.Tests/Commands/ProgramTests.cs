using System.Net;
using System.Net.Sockets;
using System.Text.Json;

namespace RehabRecords.Tests.Commands;

public sealed class ProgramTests : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("rehab-program-").FullName;

    public void Dispose() => TestEngine.Drop(_folder);

    [Fact]
    public async Task The_demo_prints_the_urgent_text_first_and_a_second_run_adds_nothing()
    {
        using var first = RunningProgram.Start(_folder, "demo", "--once", "--urls", $"http://127.0.0.1:{RunningProgram.FreePort()}");
        Assert.True(await first.EndAsync() == 0, first.Said);
        Assert.Contains("7 people, 9 exercises, 1 template, 7 programmes, 15 measures, 41 sessions, 1 pause, 1 revision, 1 decision, 1 discharge", first.Said, StringComparison.Ordinal);
        Assert.Contains("41 sessions are now in the record", first.Said, StringComparison.Ordinal);
        var draft = first.Said[first.Said.IndexOf("What came back for Dev Madeup", StringComparison.Ordinal)..];
        var urgent = draft.IndexOf("URGENT REVIEW (pain-above-limit", StringComparison.Ordinal);
        Assert.InRange(urgent, 0, draft.IndexOf("Subjective", StringComparison.OrdinalIgnoreCase));

        using var second = RunningProgram.Start(_folder, "demo", "--once", "--urls", $"http://127.0.0.1:{RunningProgram.FreePort()}");
        Assert.True(await second.EndAsync() == 0, second.Said);
        Assert.Contains("41 sessions before, 41 after, nothing stored twice", second.Said, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_demo_that_is_stopped_while_it_is_filled_is_filled_by_the_next()
    {
        var address = $"http://127.0.0.1:{RunningProgram.FreePort()}";
        using var stopped = RunningProgram.Start(_folder, "demo", "--urls", address);
        await stopped.UntilSaidAsync("The record is kept in");
        using (var http = new HttpClient { BaseAddress = new Uri(address) })
            while (await CountAsync(http, "Procedure") == 0)
                await Task.Delay(20);
        stopped.AskToEnd();
        Assert.True(await stopped.EndAsync() == 0, stopped.Said);
        Assert.DoesNotContain("Posted over HTTP", stopped.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("   at ", stopped.Said, StringComparison.Ordinal);

        using var next = RunningProgram.Start(_folder, "demo", "--once", "--urls", address);
        Assert.True(await next.EndAsync() == 0, next.Said);
        Assert.Matches(" [1-9][0-9]? sessions before, 41 after, nothing stored twice", next.Said);
    }

    [Fact]
    public async Task A_plain_start_serves_an_empty_store()
    {
        var address = $"http://127.0.0.1:{RunningProgram.FreePort()}";
        using var program = RunningProgram.Start(_folder, "--urls", address);
        using var http = new HttpClient { BaseAddress = new Uri(address) };
        await program.UntilSaidAsync(address);
        foreach (var type in new[] { "Patient", "ActivityDefinition", "Composition" })
            Assert.Equal(0, await CountAsync(http, type));
    }

    [Fact]
    public async Task A_port_that_is_taken_is_said_plainly()
    {
        using var taken = new TcpListener(IPAddress.Loopback, 0);
        taken.Start();
        using var program = RunningProgram.Start(_folder, "--urls", $"http://127.0.0.1:{((IPEndPoint)taken.LocalEndpoint).Port}");
        Assert.True(await program.EndAsync() == 1, program.Said);
        Assert.Contains("Something else is listening on that address", program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("   at ", program.Said, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_package_that_cannot_be_used_is_said_plainly()
    {
        File.WriteAllBytes(Path.Combine(_folder, "broken.tgz"), [1, 2, 3, 4]);
        using var program = RunningProgram.Start(
            _folder, "--urls", $"http://127.0.0.1:{RunningProgram.FreePort()}", "--RehabRecords:PackagesFolder", _folder);
        Assert.True(await program.EndAsync() == 1, program.Said);
        Assert.Contains("broken.tgz is not a gzip file", program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("   at ", program.Said, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_folder_that_another_process_uses_is_said_plainly_and_a_server_serves_several()
    {
        var (address, another) = ($"http://127.0.0.1:{RunningProgram.FreePort()}", $"http://127.0.0.1:{RunningProgram.FreePort()}");
        using var holder = RunningProgram.Start(_folder, "--urls", address);
        await holder.UntilSaidAsync(address);
        using var program = RunningProgram.Start(_folder, "--urls", another);
        if (TestEngine.IsPostgresql)
        {
            await program.UntilSaidAsync(another);
            using var http = new HttpClient();
            Assert.Equal(HttpStatusCode.OK, (await http.GetAsync($"{another}/fhir/Patient")).StatusCode);
            Assert.Equal(HttpStatusCode.OK, (await http.GetAsync($"{address}/fhir/Patient")).StatusCode);
            return;
        }

        Assert.True(await program.EndAsync() == 1, program.Said);
        Assert.Contains("is in use", program.Said, StringComparison.Ordinal);
        Assert.Contains("--data", program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("   at ", program.Said, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("help", 0, "dotnet run --project src/RehabRecords -- demo")]
    [InlineData("demmo", 2, "'demmo' is not a command")]
    public async Task Words_that_need_no_service_are_answered_at_once(string typed, int code, string said)
    {
        using var program = RunningProgram.Start(_folder, typed);
        Assert.Equal(code, await program.EndAsync());
        Assert.Contains(said, program.Said, StringComparison.Ordinal);
        Assert.Empty(Directory.EnumerateFileSystemEntries(_folder));
    }

    private static async Task<int> CountAsync(HttpClient http, string type)
    {
        using var answer = JsonDocument.Parse(await http.GetStringAsync($"/fhir/{type}?_summary=count"));
        return answer.RootElement.GetProperty("total").GetInt32();
    }
}
