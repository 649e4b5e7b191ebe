using System.Security.Cryptography;
using System.Text;
using CsCheck;
using RehabRecords.RecordExport;

namespace RehabRecords.Tests.RecordExport;

/// <summary>Whatever is changed in a record zip, the verifier says so and says where.</summary>
public sealed class TamperTests : IAsyncLifetime
{
    private byte[] _zip = [];
    private List<KeyValuePair<string, byte[]>> _files = [];

    public async Task InitializeAsync()
    {
        await using var clinic = await ExportClinic.OpenAsync();
        _zip = await ExportClinic.ExportAsync(clinic.Store, await SampleRecord.FillAsync(clinic));
        _files = [.. ExportClinic.Files(_zip)];
    }

    public Task DisposeAsync() => Task.CompletedTask;

    [Fact]
    public async Task The_untouched_record_is_whole_also_when_it_was_zipped_again()
    {
        Assert.Empty((await ExportClinic.VerifyAsync(_zip)).Problems);
        Assert.Empty((await ExportClinic.VerifyAsync(ExportClinic.Zip(_files))).Problems);
    }

    [Fact]
    public void A_changed_byte_of_any_file_is_found_and_the_file_is_named()
    {
        var total = _files.Sum(f => f.Value.Length);
        (from at in Gen.Int[0, total - 1] from bits in Gen.Int[1, 255] select (at, bits)).Sample(change =>
        {
            var at = change.at;
            var file = _files.First(f => (at -= f.Value.Length) < 0);
            at += file.Value.Length;
            var bytes = file.Value.ToArray();
            bytes[at] ^= (byte)change.bits;
            return Named(With(file.Key, bytes), file.Key);
        }, iter: 300, threads: 2);
    }

    [Fact]
    public void Every_byte_of_the_seal_and_of_the_order_counts()
    {
        foreach (var name in new[] { RecordZip.Seal, RecordZip.Order })
        {
            var original = _files.Single(f => f.Key == name).Value;
            Parallel.For(0, original.Length, new ParallelOptions { MaxDegreeOfParallelism = 2 }, at =>
            {
                var bytes = original.ToArray();
                bytes[at] ^= 1;
                Assert.True(Named(With(name, bytes), name), $"{name} byte {at}");
            });
        }
    }

    [Fact]
    public void A_line_taken_away_doubled_or_moved_is_found()
    {
        foreach (var (name, bytes) in _files.Where(f => f.Key.EndsWith(".ndjson", StringComparison.Ordinal) || f.Key == RecordZip.Order))
        {
            var lines = Encoding.UTF8.GetString(bytes).Split('\n')[..^1];
            for (var i = 0; i < lines.Length; i++)
            {
                Assert.True(Named(With(name, [.. lines[..i], .. lines[(i + 1)..]]), name), $"{name} without line {i + 1}");
                Assert.True(Named(With(name, [.. lines[..i], lines[i], .. lines[i..]]), name), $"{name} with line {i + 1} twice");
                if (i > 0)
                    Assert.True(Named(With(name, [.. lines[..(i - 1)], lines[i], lines[i - 1], .. lines[(i + 1)..]]), name), $"{name} with line {i + 1} before the one above");
            }
        }
    }

    [Fact]
    public void A_file_taken_away_renamed_or_added_is_found()
    {
        foreach (var file in _files)
        {
            Assert.True(Named(_files.Where(f => f.Key != file.Key), file.Key), $"without {file.Key}");
            Assert.True(Named(_files.Select(f => f.Key == file.Key ? new(f.Key + "x", f.Value) : f), file.Key), $"{file.Key} renamed");
            Assert.True(Named([.. _files, file], file.Key), $"{file.Key} twice");
        }

        foreach (var name in new[] { "record/Goal.ndjson", "documents/more.html", "../outside.txt", "/etc/passwd", "record/../../x.ndjson", "record\\..\\x.ndjson", "C:x", "notes.exe" })
            Assert.True(Named([.. _files, new(name, [])], name), name);
    }

    [Fact]
    public async Task A_version_taken_out_with_all_digests_made_anew_leaves_a_gap_that_is_found()
    {
        var lines = Lines("record/Observation.ndjson");
        var middle = Array.FindIndex(lines, l => l.Contains($"\"id\":\"{SampleRecord.Result}\"", StringComparison.Ordinal)) + 1;
        var forged = Forged(("record/Observation.ndjson", [.. lines[..middle], .. lines[(middle + 1)..]]), (RecordZip.Order, [.. Lines(RecordZip.Order).Where(l => l != $"Observation/{SampleRecord.Result}/_history/2")]));
        var problems = (await ExportClinic.VerifyAsync(ExportClinic.Zip(forged))).Problems;
        Assert.Equal(2, problems.Count);
        Assert.Contains($"Observation/{SampleRecord.Result}", problems[0], StringComparison.Ordinal);
        Assert.Contains("1 missing", problems[0], StringComparison.Ordinal);
        Assert.Contains("version 2, which is not here", problems[1], StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_resource_taken_out_with_all_digests_made_anew_is_missed_by_what_refers_to_it()
    {
        var forged = Forged(("referred/Practitioner.ndjson", []), (RecordZip.Order, [.. Lines(RecordZip.Order).Where(l => !l.StartsWith("Practitioner/", StringComparison.Ordinal))]));
        var problem = Assert.Single((await ExportClinic.VerifyAsync(ExportClinic.Zip(forged))).Problems);
        Assert.Contains("refers to Practitioner/physio, which is not here", problem, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_line_that_is_not_what_it_should_be_is_told_though_all_digests_fit()
    {
        foreach (var (line, said) in new (string, string)[]
        {
            ("{", "is no resource"),
            ("""{"resourceType":"Observation","id":"x"}""", "is no resource"),
            ("""{"resourceType":"Practitioner","id":"x"}""", "does not say its id, version and time"),
            ("""{"resourceType":"Organization","id":"x","meta":{"versionId":"1","lastUpdated":"2026-01-01T00:00:00.000+00:00"},"name":"X"}""", "is a Organization, not a Practitioner"),
            ("""{"resourceType":"Practitioner","id":"x","meta":{"versionId":"1","lastUpdated":"2026-01-01T00:00:00.000+00:00"}, "active":true}""", "is not written as this format writes it"),
            ("""{"resourceType":"Practitioner","id":"x","text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\"><script>1</script></div>"}}""", "is no resource"),
        })
        {
            var problems = (await ExportClinic.VerifyAsync(ExportClinic.Zip(Forged(("referred/Practitioner.ndjson", [.. Lines("referred/Practitioner.ndjson"), line]))))).Problems;
            Assert.Contains(problems, p => p.StartsWith("referred/Practitioner.ndjson, line 2", StringComparison.Ordinal) && p.Contains(said, StringComparison.Ordinal));
        }
    }

    [Fact]
    public void A_changed_byte_of_the_zip_itself_is_found_or_changes_nothing_that_is_in_it() =>
        (from at in Gen.Int[0, _zip.Length - 1] from bits in Gen.Int[1, 255] select (at, bits)).Sample(change =>
        {
            var zip = _zip.ToArray();
            zip[change.at] ^= (byte)change.bits;
            return !ExportClinic.VerifyAsync(zip).GetAwaiter().GetResult().IsWhole
                || ExportClinic.Files(zip).Select(f => (f.Key, Convert.ToHexString(f.Value))).SequenceEqual(_files.Select(f => (f.Key, Convert.ToHexString(f.Value))));
        }, iter: 300, threads: 2);

    [Fact]
    public void A_zip_that_was_cut_off_anywhere_is_never_whole() =>
        Gen.Int[0, _zip.Length - 1].Sample(length => !ExportClinic.VerifyAsync(_zip[..length]).GetAwaiter().GetResult().IsWhole, iter: 200, threads: 2);

    [Fact]
    public async Task What_would_unpack_into_more_than_it_says_is_not_unpacked()
    {
        var bomb = With(RecordZip.Readme, new byte[200_000_000]);
        var verdict = await ExportClinic.VerifyAsync(ExportClinic.Zip(bomb));
        Assert.Contains(verdict.Problems, p => p.Contains("readme.txt", StringComparison.Ordinal) && p.Contains("unpacks into more", StringComparison.Ordinal));

        var manifest = RecordManifest.Read(_files.Single(f => f.Key == RecordZip.Manifest).Value);
        var giant = (manifest with { Files = [manifest.Files[0] with { Bytes = 1L << 50 }, .. manifest.Files.Skip(1)] }).Write();
        var problem = Assert.Single((await ExportClinic.VerifyAsync(ExportClinic.Zip(Sealed(With(RecordZip.Manifest, giant))))).Problems);
        Assert.Contains("that is not the size of a record", problem, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("", "not a zip")]
    [InlineData("PK and then nothing of the kind, though long enough to be one", "not a zip")]
    public async Task What_is_no_zip_is_told(string content, string said) =>
        Assert.Contains(said, Assert.Single((await ExportClinic.VerifyAsync(Encoding.UTF8.GetBytes(content))).Problems), StringComparison.Ordinal);

    [Fact]
    public async Task A_format_of_the_future_is_refused_and_named()
    {
        var manifest = RecordManifest.Read(_files.Single(f => f.Key == RecordZip.Manifest).Value) with { FormatVersion = 2 };
        Assert.Contains("version 2", Assert.Single((await ExportClinic.VerifyAsync(ExportClinic.Zip(Sealed(With(RecordZip.Manifest, manifest.Write()))))).Problems), StringComparison.Ordinal);
    }

    private string[] Lines(string name) => Encoding.UTF8.GetString(_files.Single(f => f.Key == name).Value).Split('\n')[..^1];

    private IEnumerable<KeyValuePair<string, byte[]>> With(string name, byte[] bytes) => _files.Select(f => f.Key == name ? new(name, bytes) : f);

    private IEnumerable<KeyValuePair<string, byte[]>> With(string name, string[] lines) => With(name, Bytes(lines));

    private static byte[] Bytes(string[] lines) => Encoding.UTF8.GetBytes(string.Concat(lines.Select(l => l + "\n")));

    /// <summary>Changed by somebody who knows the format: counts, digests and seal fit the changed files.</summary>
    private List<KeyValuePair<string, byte[]>> Forged(params (string Name, string[] Lines)[] changed)
    {
        var files = _files.ToDictionary(f => f.Key, f => f.Value, StringComparer.Ordinal);
        foreach (var (name, lines) in changed)
            files[name] = Bytes(lines);
        var manifest = RecordManifest.Read(files[RecordZip.Manifest]);
        files[RecordZip.Manifest] = (manifest with
        {
            Versions = Encoding.UTF8.GetString(files[RecordZip.Order]).Count(c => c == '\n'),
            Files = [.. manifest.Files.Select(f => changed.Any(c => c.Name == f.Path)
                ? f with
                {
                    Bytes = files[f.Path].Length,
                    Sha256 = Convert.ToHexStringLower(SHA256.HashData(files[f.Path])),
                    Lines = changed.Single(c => c.Name == f.Path).Lines.Length,
                    Resources = f.Resources is null || f.Path == "record/Observation.ndjson" ? f.Resources : changed.Single(c => c.Name == f.Path).Lines.Length,
                }
                : f)],
        }).Write();
        return Sealed(_files.Select(f => KeyValuePair.Create(f.Key, files[f.Key])));
    }

    private static List<KeyValuePair<string, byte[]>> Sealed(IEnumerable<KeyValuePair<string, byte[]>> files)
    {
        var all = files.ToList();
        var digest = Convert.ToHexStringLower(SHA256.HashData(all.Single(f => f.Key == RecordZip.Manifest).Value));
        return [.. all.Select(f => f.Key == RecordZip.Seal ? new(f.Key, Encoding.ASCII.GetBytes($"{digest}  {RecordZip.Manifest}\n")) : f)];
    }

    /// <summary>Whether the verifier finds something wrong and names the file it is in.</summary>
    private static bool Named(IEnumerable<KeyValuePair<string, byte[]>> files, string name) =>
        ExportClinic.VerifyAsync(ExportClinic.Zip(files)).GetAwaiter().GetResult().Problems.Any(p => p.Contains(name == RecordZip.Seal ? "manifest" : name, StringComparison.Ordinal));
}
