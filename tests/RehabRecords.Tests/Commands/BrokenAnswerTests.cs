using System.Net;
using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Commands;

/// <summary>
/// A failure that is met while a long answer is under way, over a real connection: the answer is cut off, so that nobody takes it for whole. One
/// that is met before anything was sent is an answer of its own, with nothing of the other in front of it.
/// </summary>
public sealed class BrokenAnswerTests : IAsyncLifetime
{
    private const int Results = 400;
    private readonly string _folder = Directory.CreateTempSubdirectory("rehabrecords-broken-").FullName;

    public static TheoryData<string> Answers => ["/fhir/Patient/p1/$everything", "/api/people/p1/record"];

    private string Data => Path.Combine(_folder, "data");

    public async System.Threading.Tasks.Task InitializeAsync()
    {
        await using var store = await TestEngine.OpenAsync(Data, TestIndex.Indexer, TimeProvider.System);
        var person = Samples.Person(family: "Needlework");
        person.Id = "p1";
        await store.CreateAsync(person);
        var set = new WriteSet();
        for (var i = 0; i < Results; i++)
        {
            var result = Samples.Result("p1", i);
            result.Id = $"r{i:000}";
            // So much that it cannot all wait in a buffer, even when it is packed.
            result.Note = [new Annotation { Text = new Markdown("Needlework " + Convert.ToHexString(System.Security.Cryptography.RandomNumberGenerator.GetBytes(4000))) }];
            set.Create(result);
        }

        await store.CommitAsync(set);
    }

    public System.Threading.Tasks.Task DisposeAsync()
    {
        TestEngine.Drop(_folder);
        return System.Threading.Tasks.Task.CompletedTask;
    }

    [Theory]
    [MemberData(nameof(Answers))]
    public async System.Threading.Tasks.Task A_failure_far_down_cuts_the_answer_off_and_the_log_says_where(string address)
    {
        await DamageAsync($"r{Results - 1:000}");
        using var program = await StartedAsync();
        using var http = new HttpClient();
        using var answer = await http.GetAsync(program.Address + address, HttpCompletionOption.ResponseHeadersRead);

        Assert.Equal(HttpStatusCode.OK, answer.StatusCode);
        await Assert.ThrowsAnyAsync<Exception>(() => answer.Content.ReadAsByteArrayAsync());
        await program.Running.UntilSaidAsync("RefusedException");
        Assert.DoesNotContain("eedlework", program.Running.Said, StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.OK, (await http.GetAsync(program.Address + "/fhir/Observation/r000")).StatusCode);
    }

    [Theory]
    [MemberData(nameof(Answers))]
    public async System.Threading.Tasks.Task A_failure_before_anything_was_sent_is_the_whole_answer(string address)
    {
        await DamageAsync("r000");
        using var program = await StartedAsync();
        using var http = new HttpClient();
        using var answer = await http.GetAsync(program.Address + address);
        using var said = JsonDocument.Parse(await answer.Content.ReadAsByteArrayAsync());

        Assert.Equal(HttpStatusCode.InternalServerError, answer.StatusCode);
        Assert.Contains("Observation/r000/_history/1 is not as it was stored", said.RootElement.GetRawText(), StringComparison.Ordinal);
        Assert.Null(answer.Content.Headers.ContentDisposition);
    }

    private async System.Threading.Tasks.Task DamageAsync(string id)
    {
        await using var store = await TestEngine.OpenAsync(Data, TestIndex.Indexer, TimeProvider.System);
        Assert.Equal(1, await store.Writers.EnqueueAsync(s => s.Run("UPDATE version SET updated=updated+1 WHERE id=@p0", id), default));
    }

    private async Task<Started> StartedAsync()
    {
        var address = $"http://127.0.0.1:{RunningProgram.FreePort()}";
        var running = RunningProgram.Start(_folder, "--urls", address, "--data", "data", "--RehabRecords:PublicUrl", address);
        await running.UntilSaidAsync("DEMO MODE");
        return new Started(running, address);
    }

    private sealed record Started(RunningProgram Running, string Address) : IDisposable
    {
        public void Dispose() => Running.Dispose();
    }
}
