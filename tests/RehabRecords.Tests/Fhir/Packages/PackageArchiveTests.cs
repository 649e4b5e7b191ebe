using System.Formats.Tar;
using System.Text;
using RehabRecords.Fhir.Packages;
using static RehabRecords.Tests.Fhir.Packages.PackageFiles;

namespace RehabRecords.Tests.Fhir.Packages;

/// <summary>An archive is read in memory and within limits, or refused with a sentence that names the file.</summary>
public class PackageArchiveTests
{
    private static readonly PackageLimits Small = new() { MaxFileBytes = 200_000, MaxUnpackedBytes = 4 << 20, MaxEntries = 50, MaxEntryBytes = 100_000 };

    public static TheoryData<string, byte[], string> Hostile => new()
    {
        { "a way out of the folder", With(Entry("package/../../etc/x.json", "{}")), "leads out" },
        { "an absolute name", With(Entry("/etc/x.json", "{}")), "leads out" },
        { "a backslash", With(Entry("package\\..\\x.json", "{}")), "leads out" },
        { "a drive", With(Entry("c:/x.json", "{}")), "leads out" },
        { "a symbolic link", With(new PaxTarEntry(TarEntryType.SymbolicLink, "package/x.json") { LinkName = "/etc/passwd" }), "SymbolicLink" },
        { "a hard link", With(new PaxTarEntry(TarEntryType.HardLink, "package/x.json") { LinkName = "package/package.json" }), "HardLink" },
        { "a device", With(new PaxTarEntry(TarEntryType.CharacterDevice, "package/x.json")), "CharacterDevice" },
        { "a named pipe", With(new PaxTarEntry(TarEntryType.Fifo, "package/x.json")), "Fifo" },
        { "names that differ in case only", With(Entry("package/a.json", "{}"), Entry("package/A.json", "{}")), "two files" },
        { "a bomb", Gzip(new byte[100 << 20]), "unpacks to more than" },
        { "a large file", With(Entry("package/x.json", new string(' ', 100_001))), "a file of 100001 bytes" },
        { "many files", With([.. Enumerable.Range(0, 51).Select(i => Entry($"package/{i}.json", "{}"))]), "more than 50 entries" },
        { "an entry longer than the archive", Gzip(Header("package/package.json", '0', "00000777777")), "longer than the archive" },
        { "a size that is no number", Gzip(Header("package/package.json", '0', "9999999zzzz")), "longer than the archive" },
        { "a size in another notation", Gzip(Header("package/package.json", '0', "\u00ff\u00ff\u00ff\u00ff\u00ff\u00ff\u00ff\u00ff\u00ff\u00ff\u00ff")), "longer than the archive" },
        { "attributes longer than any", Gzip([.. Header("x", 'x', "00000300000"), .. new byte[98_304]]), "a name or attributes of" },
        { "no gzip", Encoding.UTF8.GetBytes("PK, this is a zip"), "not a gzip file" },
        { "half a gzip", HandClinic.Tgz[..200], "package" },
        { "nothing", [], "no package/package.json" },
        { "a gzip of something else", Gzip(Encoding.UTF8.GetBytes(new string('x', 5000))), "package" },
    };

    [Theory]
    [MemberData(nameof(Hostile))]
    public void Is_refused(string what, byte[] tgz, string because)
    {
        var before = GC.GetAllocatedBytesForCurrentThread();
        var refused = Assert.Throws<PackageUnusableException>(() => FhirPackage.Read("bad.tgz", tgz, Small));
        Assert.True(refused.Message.Contains("bad.tgz", StringComparison.Ordinal), what);
        Assert.Contains(because, refused.Message, StringComparison.Ordinal);
        Assert.InRange(GC.GetAllocatedBytesForCurrentThread() - before, 0, 40 << 20);
    }

    [Theory]
    [InlineData("", "manifest")]
    [InlineData("[]", "manifest")]
    [InlineData("{\"name\":\"x\"}", "version")]
    [InlineData("{\"name\":\"x\\ny\",\"version\":\"1\"}", "name")]
    [InlineData("{\"name\":\"x\",\"version\":\"1\",\"fhirVersions\":[\"5.0.0\"]}", "for FHIR 5.0.0")]
    [InlineData("{\"name\":\"x\",\"version\":\"1\",\"fhirVersions\":\"4.0.1\"}", "manifest")]
    public void A_manifest_that_does_not_fit_is_refused(string manifest, string because) =>
        Assert.Contains(because, Assert.Throws<PackageUnusableException>(() => FhirPackage.Read("bad.tgz", Tgz(manifest, []), Small)).Message, StringComparison.Ordinal);

    [Fact]
    public void A_file_that_is_not_json_is_named() =>
        Assert.Contains("package/x.json", Assert.Throws<PackageUnusableException>(() => FhirPackage.Read("bad.tgz", Tgz(("x.json", "{")), Small)).Message, StringComparison.Ordinal);

    [Fact]
    public void Only_the_files_directly_in_package_are_read()
    {
        var files = PackageArchive.Read("good.tgz", With(Entry("package/a.json", "1"), Entry("package/other/b.json", "2"), Entry("other/c.json", "3"), Entry("package/d.txt", "4"), Entry("package/.index.json", "5")), Small);
        Assert.Equal(["a.json", "package.json"], files.Keys.Order(StringComparer.Ordinal));
    }

    [Fact]
    public void Folders_and_long_names_are_no_harm()
    {
        var name = $"package/{new string('n', 180)}.json";
        var files = PackageArchive.Read("good.tgz", With(new PaxTarEntry(TarEntryType.Directory, "package/"), Entry(name, "{}")), Small);
        Assert.Contains(name["package/".Length..], files.Keys);
    }

    private static byte[] With(params TarEntry[] entries) => Archive([Entry("package/package.json", Manifest), .. entries]);

    // By hand, for what no tool would write.
    private static byte[] Header(string name, char type, string size)
    {
        var header = new byte[512];
        Encoding.Latin1.GetBytes(name).CopyTo(header, 0);
        Encoding.Latin1.GetBytes("0000644").CopyTo(header, 100);
        Encoding.Latin1.GetBytes(size).CopyTo(header, 124);
        Encoding.Latin1.GetBytes("00000000000").CopyTo(header, 136);
        header[156] = (byte)type;
        Encoding.Latin1.GetBytes("ustar\000").CopyTo(header, 257);
        Encoding.Latin1.GetBytes("        ").CopyTo(header, 148);
        Encoding.Latin1.GetBytes(Convert.ToString(header.Sum(b => b), 8).PadLeft(6, '0') + "\0 ").CopyTo(header, 148);
        return header;
    }
}
