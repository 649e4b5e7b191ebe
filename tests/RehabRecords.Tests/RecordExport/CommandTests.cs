using RehabRecords.Tests.Commands;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.RecordExport;

/// <summary>The commands as an officer types them, each in a process of its own.</summary>
public sealed class CommandTests : IAsyncLifetime
{
    private readonly string _folder = Directory.CreateTempSubdirectory("rehab-officer-").FullName;

    public async Task InitializeAsync()
    {
        var clock = new SetClock(DateTimeOffset.Parse("2026-05-01T09:00:00Z"));
        await using var store = await TestEngine.OpenAsync(Path.Combine(_folder, "data"), TestIndex.Indexer, clock);
        await SampleRecord.FillAsync(store, clock);
    }

    public Task DisposeAsync()
    {
        TestEngine.Drop(_folder);
        return Task.CompletedTask;
    }

    [Fact]
    public async Task A_record_is_exported_checked_imported_elsewhere_and_exported_again_as_the_same()
    {
        await SaysAsync(0, "Digest of its manifest", "export-record", "person", "one.zip");
        await SaysAsync(0, "one.zip is whole", "verify-record", "one.zip");
        await SaysAsync(1, "exists already", "export-record", "person", "one.zip");
        await SaysAsync(1, "There is no person 'nobody'", "export-record", "nobody", "two.zip");
        Assert.Contains("0 were there already", await SaysAsync(0, "versions were restored", "import-record", "one.zip", "--data", "elsewhere"), StringComparison.Ordinal);
        await SaysAsync(0, "0 versions were restored", "import-record", "one.zip", "--data", "elsewhere");
        await SaysAsync(0, "two.zip", "export-record", "person", "two.zip", "--data", "elsewhere");
        Assert.Equal(ExportClinic.Content(await ReadAsync("one.zip")), ExportClinic.Content(await ReadAsync("two.zip")));

        var files = ExportClinic.Files(await ReadAsync("one.zip"));
        files["record/Patient.ndjson"][40] ^= 1;
        await File.WriteAllBytesAsync(Path.Combine(_folder, "three.zip"), ExportClinic.Zip(files));
        await SaysAsync(3, "record/Patient.ndjson", "verify-record", "three.zip");
        await SaysAsync(3, "Nothing was imported", "import-record", "three.zip", "--data", "third");
        Assert.DoesNotContain(Directory.EnumerateFiles(_folder), f => f.EndsWith(".partial", StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("export-record needs a person and a file", "export-record")]
    [InlineData("export-record needs a file", "export-record", "x")]
    [InlineData("verify-record needs a zip", "verify-record")]
    [InlineData("'two.zip' is not a command", "verify-record", "one.zip", "two.zip")]
    [InlineData("'--from' is not a command", "import-record", "one.zip", "--from", "http://x")]
    [InlineData("--from needs the address", "export-record", "x", "y", "--from", "ftp://x")]
    public void A_typing_error_is_refused(string said, params string[] typed) =>
        Assert.Contains(said, Assert.Throws<FormatException>(() => RehabRecords.Commands.CommandLine.Parse(typed)).Message, StringComparison.Ordinal);

    private Task<byte[]> ReadAsync(string file) => File.ReadAllBytesAsync(Path.Combine(_folder, file));

    private async Task<string> SaysAsync(int code, string words, params string[] typed)
    {
        using var program = RunningProgram.Start(_folder, typed);
        Assert.True(await program.EndAsync() == code, program.Said);
        Assert.Contains(words, program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("   at ", program.Said, StringComparison.Ordinal);
        return program.Said;
    }
}
