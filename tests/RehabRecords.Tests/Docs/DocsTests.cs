using System.Text.Json;
using System.Text.RegularExpressions;

namespace RehabRecords.Tests.Docs;

public partial class DocsTests
{
    /// <summary>Pages of the checkout that people read, relative to its root.</summary>
    public static TheoryData<string> Pages =>
        [.. Directory.EnumerateFiles(Repository.Root, "*.md", SearchOption.AllDirectories)
            .Select(f => Path.GetRelativePath(Repository.Root, f).Replace('\\', '/'))
            .Where(f => !f.StartsWith("artifacts/", StringComparison.Ordinal) && !f.Contains("node_modules/", StringComparison.Ordinal))
            .Order(StringComparer.Ordinal)];

    [Theory, MemberData(nameof(Pages))]
    public void Links_lead_somewhere(string page)
    {
        var folder = Path.GetDirectoryName(Path.Combine(Repository.Root, page))!;
        foreach (Match link in Link().Matches(Read(page)))
        {
            var target = link.Groups[1].Value;
            if (target.Contains("://", StringComparison.Ordinal))
                continue;
            var parts = target.Split('#');
            var file = parts[0].Length == 0 ? Path.Combine(Repository.Root, page) : Path.GetFullPath(Path.Combine(folder, parts[0]));
            Assert.True(File.Exists(file) || Directory.Exists(file), $"{page} links to {target}, which is not there.");
            if (parts.Length > 1)
                Assert.True(Anchors(File.ReadAllText(file)).Contains(parts[1]), $"{page} links to {target}; {parts[0]} has no such heading.");
        }
    }

    [Theory, MemberData(nameof(Pages))]
    public void Blocks_of_JSON_can_be_read(string page)
    {
        foreach (Match block in JsonBlock().Matches(Read(page)))
        {
            var failure = Record.Exception(() => JsonDocument.Parse(block.Groups[1].Value));
            Assert.True(failure is null, $"{page}: {failure?.Message}\n{block.Groups[1].Value}");
        }
    }

    [Fact]
    public void The_first_page_stays_short() =>
        Assert.InRange(File.ReadAllLines(Path.Combine(Repository.Root, "README.md")).Length, 40, 120);

    [Fact]
    public void Every_page_of_docs_is_in_its_index()
    {
        var index = Read("docs/README.md");
        var missing = Directory.EnumerateFiles(Path.Combine(Repository.Root, "docs"), "*.md", SearchOption.AllDirectories)
            .Select(f => Path.GetRelativePath(Path.Combine(Repository.Root, "docs"), f).Replace('\\', '/'))
            .Where(f => f != "README.md" && !index.Contains($"({f})", StringComparison.Ordinal));
        Assert.Empty(missing);
    }

    [Fact]
    public void Every_package_is_in_the_list_of_dependencies()
    {
        var page = Read("docs/dependencies.md").ToUpperInvariant();
        var packages = Regex.Matches(Read("Directory.Packages.props"), "PackageVersion Include=\"([^\"]+)\"").Select(m => m.Groups[1].Value)
            .Concat(JsonDocument.Parse(Read("tests/oracles/package.json")).RootElement.GetProperty("devDependencies").EnumerateObject().Select(p => p.Name));
        Assert.All(packages, p => Assert.Contains(p.ToUpperInvariant(), page, StringComparison.Ordinal));
    }

    private static string Read(string page) => File.ReadAllText(Path.Combine(Repository.Root, page));

    private static HashSet<string> Anchors(string text) =>
        [.. Heading().Matches(text).Select(h => Regex.Replace(h.Groups[1].Value.Trim().ToLowerInvariant().Replace(' ', '-'), "[^a-z0-9_-]", ""))];

    [GeneratedRegex(@"\]\(([^)\s]+)\)")]
    private static partial Regex Link();

    [GeneratedRegex(@"^```json\n(.*?)^```", RegexOptions.Singleline | RegexOptions.Multiline)]
    private static partial Regex JsonBlock();

    [GeneratedRegex(@"^#+ (.*)$", RegexOptions.Multiline)]
    private static partial Regex Heading();
}
