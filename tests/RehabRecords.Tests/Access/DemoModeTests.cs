using System.Net;
using RehabRecords.Tests.Commands;

namespace RehabRecords.Tests.Access;

/// <summary>Open to everybody is only what this machine alone can reach, and only where it was asked for.</summary>
public sealed class DemoModeTests : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("rehabrecords-demo-").FullName;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    [Theory]
    [InlineData("http://0.0.0.0:{port}")]
    [InlineData("http://127.0.0.1:{port};http://[::]:{other}")]
    public async Task The_demo_does_not_listen_where_others_can_reach_it(string urls)
    {
        using var program = RunningProgram.Start(_folder, "demo", "--once", "--urls", urls.Replace("{port}", $"{RunningProgram.FreePort()}").Replace("{other}", $"{RunningProgram.FreePort()}"));
        Assert.True(await program.EndAsync() == 1, program.Said);
        Assert.Contains("nobody signs in, so the service is reached from this machine only", program.Said);
        Assert.DoesNotContain("   at ", program.Said);
    }

    [Fact]
    public async Task A_plain_start_is_closed_and_says_that_nobody_can_enter_yet()
    {
        var address = $"http://127.0.0.1:{RunningProgram.FreePort()}";
        using var program = RunningProgram.Start(_folder, "--urls", address, "--RehabRecords:Access:Mode", "closed");
        await program.UntilSaidAsync("nobody can enter yet");
        using var http = new HttpClient { BaseAddress = new Uri(address) };
        Assert.Equal(HttpStatusCode.OK, (await http.GetAsync("/fhir/metadata")).StatusCode);
        Assert.Equal(HttpStatusCode.Unauthorized, (await http.GetAsync("/fhir/Patient")).StatusCode);
        Assert.Equal(HttpStatusCode.Unauthorized, (await http.GetAsync("/api/people")).StatusCode);
        Assert.Equal(HttpStatusCode.Unauthorized, (await http.GetAsync("/caseload")).StatusCode);
    }

    [Fact]
    public void Closed_is_what_the_settings_say_when_nobody_says_anything() => Assert.Equal(RehabRecords.Access.AccessMode.Closed, new RehabRecords.Access.AccessSetting().Mode);

    [Fact]
    public async Task The_demo_says_so_at_the_start_and_on_its_pages()
    {
        var address = $"http://127.0.0.1:{RunningProgram.FreePort()}";
        using var program = RunningProgram.Start(_folder, "--urls", address);
        await program.UntilSaidAsync("DEMO MODE");
        using var http = new HttpClient { BaseAddress = new Uri(address) };
        foreach (var page in new[] { "/caseload", "/library", "/help", "/you" })
            Assert.Contains("Demo: nobody signs in here.", await http.GetStringAsync(page));
    }

    [Theory]
    [InlineData("{ }", "cannot be read")]
    [InlineData("""{ "clients": [{ "id": "a", "organisation": "dale", "role": "system", "scopes": [], "keys": { "keys": [] } }] }""", "not among Access:Organisations")]
    [InlineData("""{ "clients": [{ "id": "a", "organisation": "hill", "role": "chief", "scopes": [], "keys": { "keys": [] } }] }""", "the role 'chief'")]
    [InlineData("""{ "clients": [{ "id": "a", "organisation": "hill", "role": "system", "scopes": ["patient/*.read"], "keys": { "keys": [] } }] }""", "the scope 'patient/*.read'")]
    [InlineData("""{ "clients": [{ "id": "a", "organisation": "hill", "role": "system", "scopes": ["api/*"], "keys": { "keys": [{ "kty": "oct", "kid": "k", "k": "c2VjcmV0" }] } }] }""", "a secret key")]
    [InlineData("""{ "clients": [{ "id": "a", "organisation": "hill", "role": "system", "scopes": ["api/*"], "keys": { "keys": [] } }] }""", "one key or more")]
    public async Task A_file_of_clients_that_cannot_be_right_stops_the_start_with_a_sentence(string file, string said)
    {
        var path = Path.Combine(_folder, "clients.json");
        await File.WriteAllTextAsync(path, file);
        using var program = RunningProgram.Start(_folder, "--urls", $"http://127.0.0.1:{RunningProgram.FreePort()}",
            "--RehabRecords:Access:Mode", "closed", "--RehabRecords:Access:Organisations:hill", "Hill Clinic", "--RehabRecords:Access:ClientsFile", path);
        Assert.True(await program.EndAsync() == 1, program.Said);
        Assert.Contains(said, program.Said);
        Assert.DoesNotContain("   at ", program.Said);
    }
}
