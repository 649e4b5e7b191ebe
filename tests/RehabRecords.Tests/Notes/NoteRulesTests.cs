using System.Text;
using RehabRecords.Discharges;
using RehabRecords.Letters;
using RehabRecords.Notes;

namespace RehabRecords.Tests.Notes;

public class NoteRulesTests
{
    private static readonly string Page = Path.Combine(Repository.Root, "docs", "note-rules.md");

    [Fact]
    public void Every_rule_is_in_the_list_once()
    {
        var declared = new[] { typeof(NoteRules), typeof(DischargeRules), typeof(LetterRules) }.SelectMany(t => t.GetFields()).Where(f => f.FieldType == typeof(NoteRule)).Select(f => ((NoteRule)f.GetValue(null)!).Id).ToList();
        Assert.Equal(declared, NoteRules.OfAllDocuments.Select(r => r.Id));
        Assert.Equal(declared.Count, declared.Distinct().Count());
        Assert.All(NoteRules.OfAllDocuments, r => Assert.Matches("^[a-z0-9]+(-[a-z0-9]+)*$", r.Id));
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
    public void The_code_system_lists_exactly_these_rules_with_their_titles_and_kinds()
    {
        var file = System.Text.Json.Nodes.JsonNode.Parse(File.ReadAllText(Path.Combine(Repository.Root, "profiles", "CodeSystem-note-rule.json")))!;
        Assert.Equal(
            NoteRules.OfAllDocuments.Select(r => (r.Id, r.Title, r.Kind)).Prepend((RehabRecords.Documents.NoteStatement.OwnRule, "Clinician", "finding")),
            file["concept"]!.AsArray().Select(c => ((string)c!["code"]!, (string)c["display"]!, (string)c["property"]![0]!["valueCoding"]!["code"]!)));
    }

    [Theory]
    [InlineData("", "pain")]
    [InlineData("01a2125e-8275-7816-8d0f-208d58a9d46f.repetitions", "pain.01a2125e-8275-7816-8d0f-208d58a9d46f.repetitions")]
    [InlineData("6-20", "pain.6-20")]
    [InlineData("left hand", "pain.left-hand.c9ca29dc7e52908e")]
    [InlineData("left\thand", "pain.left-hand.91844e40f5850ecd")]
    [InlineData("a-subject-that-would-be-longer-than-an-id-may-be-in-any-version-of-FHIR", "pain.a-subject-that-would-be-longer-than-an-id-.9b9496267fc8d5bc")]
    public void The_id_of_a_statement_can_be_an_id_of_its_section(string subject, string id)
    {
        var statement = NoteRules.Pain.State(subject, "Pain.", new Evidence("Observation/a/_history/1"));
        Assert.Equal(id, statement.Id);
        Assert.Matches("^[A-Za-z0-9.-]{1,64}$", statement.Id);
    }

    private static string Markdown()
    {
        var page = new StringBuilder("""
            # The rules that write a draft note

            Every sentence of a draft comes from one of these rules. It is a section of its own in the Composition: `code` names the rule,
            `entry` the exact versions of the resources it rests on. The sentence is a function of the record: no language model, no
            clock, no order of arrival. What varies stands in braces; a bar parts alternatives. "Recent" is the 14 days to the latest
            result (common practice, no source). Drafts never diagnose, reassure or change a programme; the registered clinician decides.

            The page is written from `src/RehabRecords/Notes/NoteRules.cs`; a test holds the two together
            (`UPDATE_DOCS=1` writes it anew).

            """);
        foreach (var heading in Headings.Soap)
            Table("##", heading, NoteRules.All);
        page.Append("""

            ## The discharge summary

            A discharge summary stands under the headings of the national set, all of them, an empty one with what is not there. Besides the
            rules below it says, in the words of the progress note, `adherence`, `nothing-due`, `extra-sessions`, `revision`, `pause` and `decision`
            under Procedures, `measure`, `measure-change`, `measure-not-completed`, `goal-level`, `goal-not-rated` and `goal-score` under Assessment
            scales, and `harm` under Safety alerts. What a clinician states at discharge is kept as a form, which those sentences rest on.
            The rules are in `src/RehabRecords/Discharges/DischargeRules.cs`.

            """);
        foreach (var heading in Headings.Discharge.Where(h => DischargeRules.All.Any(r => r.Section == h.Section)))
            Table("###", heading, DischargeRules.All);
        page.Append("""

            ## The transfer letter

            A letter to the team that takes over stands under sixteen headings of the same set, in the order of a letter. Beside the rules below it says, in the words
            of the progress note and the discharge summary, what these say of the course, the measures and goals, practice, flags and precautions, harm, carers,
            needs, wishes and what was told. What a clinician states is kept as a form, which those
            sentences rest on. The rules are in `src/RehabRecords/Letters/LetterRules.cs`.

            """);
        foreach (var heading in Headings.Letter.Where(h => LetterRules.All.Any(r => r.Section == h.Section)))
            Table("###", heading, LetterRules.All);
        return page.ToString();

        void Table(string mark, Heading heading, IReadOnlyList<NoteRule> rules)
        {
            page.Append($"\n{mark} {heading.Title}\n\n| rule | kind | sentence | when | source |\n|---|---|---|---|---|\n");
            foreach (var rule in rules.Where(r => r.Section == heading.Section))
                page.Append($"| `{rule.Id}` | {rule.Kind} | {Cell(rule.Pattern)} | {Cell(rule.When)} | {Cell(rule.Source)} |\n");
        }

        static string Cell(string text) => text.Replace("|", "\\|", StringComparison.Ordinal);
    }
}
