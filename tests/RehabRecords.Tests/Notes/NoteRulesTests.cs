using System.Text;
using RehabRecords.Notes;

namespace RehabRecords.Tests.Notes;

public class NoteRulesTests
{
    private static readonly string Page = Path.Combine(Repository.Root, "docs", "note-rules.md");

    [Fact]
    public void Every_rule_is_in_the_list_once()
    {
        var declared = typeof(NoteRules).GetFields().Where(f => f.FieldType == typeof(NoteRule)).Select(f => ((NoteRule)f.GetValue(null)!).Id).ToList();
        Assert.Equal(declared, NoteRules.All.Select(r => r.Id));
        Assert.Equal(declared.Count, declared.Distinct().Count());
        Assert.All(NoteRules.All, r => Assert.Matches("^[a-z0-9]+(-[a-z0-9]+)*$", r.Id));
    }

    /// <summary>UPDATE_DOCS=1 writes the page instead of comparing it.</summary>
    [Fact]
    public void The_page_for_clinicians_lists_exactly_these_rules()
    {
        if (Environment.GetEnvironmentVariable("UPDATE_DOCS") == "1")
            File.WriteAllText(Page, Markdown());
        Assert.Equal(Markdown(), File.ReadAllText(Page));
    }

    [Fact]
    public void The_code_system_lists_exactly_these_rules()
    {
        var file = System.Text.Json.Nodes.JsonNode.Parse(File.ReadAllText(Path.Combine(Repository.Root, "profiles", "CodeSystem-note-rule.json")))!;
        Assert.Equal(NoteRules.All.Select(r => r.Id), file["concept"]!.AsArray().Select(c => (string?)c!["code"]));
    }

    private static string Markdown()
    {
        var page = new StringBuilder("""
            # The rules that write a draft note

            Every sentence of a draft comes from one of these rules and names, in its `note-statement` extension, the rule and the
            exact versions of the resources it rests on. The sentence is a function of the record: no language model, no clock, no
            order of arrival. What varies stands in braces; a bar parts alternatives. "Recent" is the 14 days to the latest result
            (common practice, no source). Drafts never diagnose, reassure or change a programme; the registered clinician decides.

            The page is written from `src/RehabRecords/Notes/NoteRules.cs`; a test holds the two together
            (`UPDATE_DOCS=1` writes it anew).

            """);
        foreach (var section in Enum.GetValues<NoteSection>())
        {
            page.Append($"\n## {section}\n\n| rule | kind | sentence | when | source |\n|---|---|---|---|---|\n");
            foreach (var rule in NoteRules.All.Where(r => r.Section == section))
                page.Append($"| `{rule.Id}` | {rule.Kind} | {Cell(rule.Pattern)} | {Cell(rule.When)} | {Cell(rule.Source)} |\n");
        }
        return page.ToString();

        static string Cell(string text) => text.Replace("|", "\\|", StringComparison.Ordinal);
    }
}
