using System.Text;

namespace RehabRecords.Clinical.Tests;

/// <summary>docs/clinical-basis.md is what a clinician audits; it is made from the catalogue and must be current.</summary>
public class ClinicalBasisTests
{
    private static readonly string Path = System.IO.Path.Combine(Repository.Root, "docs/clinical-basis.md");

    [Fact]
    public void The_document_is_current()
    {
        var text = Document();
        if (Environment.GetEnvironmentVariable("REHAB_WRITE_DOCS") == "1")
            File.WriteAllText(Path, text);
        Assert.True(File.Exists(Path) && File.ReadAllText(Path).ReplaceLineEndings("\n") == text,
            "docs/clinical-basis.md is not current: run the tests with REHAB_WRITE_DOCS=1 and commit it.");
    }

    private static string Document()
    {
        var measures = MeasureCatalogue.Default.All;
        var page = new StringBuilder();
        void Line(string text = "") => page.Append(text).Append('\n');
        void Row(params string?[] cells) => Line($"| {string.Join(" | ", cells.Select(c => string.IsNullOrEmpty(c) ? "-" : c.Replace("|", "\\|")))} |");
        void Head(params string[] cells)
        {
            Row(cells);
            Row([.. cells.Select(_ => "---")]);
        }

        Line("# Clinical basis");
        Line();
        Line("Made from the data files of `src/RehabRecords.Clinical/Data`; a test fails when it is not current. To change a value, change its file.");
        Line("Nothing here decides treatment. Follow local policy; the decision rests with the registered clinician.");
        Line();
        Line("Marks: **published** = seen in the source named; **secondary source** = seen only in a page about it; **computed from published values** = our");
        Line("arithmetic; **from memory, not confirmed** = never used to classify; **common practice, no source** = a local rule that a clinic may set.");
        Line();
        Line("## How many of which");
        Line();
        Head("", "published", "secondary", "computed", "from memory", "common practice");
        void Count(string name, IEnumerable<Mark> marks) => Row([name, .. Enum.GetValues<Mark>().Select(mark => $"{marks.Count(m => m == mark)}")]);
        Count("measure definitions", measures.Select(m => m.Source.Mark));
        Count("threshold rows", measures.SelectMany(m => m.Thresholds).Select(t => t.Source.Mark));
        Count("norm cells", Norms.Tables.SelectMany(t => t.Cells.Select(_ => t.Source.Mark)));
        Count("progression limits", ProgressionRules.Default.Limits.Select(l => l.Source.Mark));
        Count("red flags", SafetyScreen.Catalogue.Select(f => f.Source.Mark));
        Count("cautions", Cautions.Catalogue.Select(c => c.Source.Mark));
        Count("temperature limits", Cautions.Temperatures.Select(t => t.Source.Mark));
        Line();
        Line("## Measures");
        Line();
        Head("measure", "recorded", "unit", "range, step", "better", "of", "could not complete", "licence", "source");
        foreach (var m in measures)
            Row($"`{m.Id}` {m.Title}", m.Recorded, $"`{m.Unit}`", m.Scale == ScaleKind.Grades ? string.Join(", ", m.Grades) : Range(m), m.Direction.Code(), m.Laterality.Code(),
                m.CouldNotComplete, m.Licence, m.Source.InFull);
        Line();
        Line("## Change thresholds");
        Line();
        Head("measure", "row", "kind", "value", "level", "hand", "population", "window, days", "method", "n", "source");
        foreach (var m in measures)
            foreach (var t in m.Thresholds)
                Row($"`{m.Id}`", $"`{t.Id}`", t.Kind.Code(), t.Percent is { } percent ? $"{percent:0.##} %" : $"{(t.RangeFrom is { } from ? $"{from:0.###} to " : "")}{t.Value:0.###} {m.UnitText}",
                    t.Level is { } level ? $"{level} %" : "", t.Hand.Code(), t.Population.Text, Window(t.Population), t.Method, $"{t.N}", t.Source.InFull);
        Line();
        Line("## Remarks");
        Line();
        foreach (var m in measures)
            foreach (var remark in m.Remarks)
                Line($"* `{m.Id}`: {remark.Text} {remark.Source.InFull}");
        Line();
        Line("## Norms");
        Line();
        foreach (var table in Norms.Tables)
        {
            Line($"### {table.Id}");
            Line();
            Line($"`{table.Measure}`, unit `{table.Unit}`, {table.Hands.Code()}; {table.Sample}. {table.Source.InFull}. Mean (SD).");
            Line();
            var columns = table.Cells.Select(c => (c.Sex, c.Hand)).Distinct().ToList();
            Head(["age", .. columns.Select(c => $"{c.Sex.Code()}, {c.Hand.Code()}")]);
            foreach (var band in table.Cells.GroupBy(c => (c.FromAge, c.ToAge)))
                Row([$"{band.Key.FromAge} to {band.Key.ToAge}", .. columns.Select(c => band.FirstOrDefault(cell => (cell.Sex, cell.Hand) == c) is { } cell
                    ? $"{cell.Mean} ({cell.Sd}){(cell.Remark is null ? "" : $" - {cell.Remark}")}" : "not seen")]);
            Line();
        }
        Line($"## Progression, rule set {ProgressionRules.Default.Version}");
        Line();
        Head("limit", "value", "unit", "a clinic may set", "what it does", "source");
        foreach (var limit in ProgressionRules.Default.Limits)
            Row($"`{limit.Id}`", $"{limit.Value}", limit.Unit, $"{limit.From} to {limit.To}", limit.Text, limit.Source.InFull);
        Line();
        Line("## Adherence");
        Line();
        Head("definition", "threshold", "source");
        foreach (var rule in AdherenceRule.All)
            Row(rule.Title, $"{(rule.Strict ? "above" : "at least")} {rule.Threshold:P0}", rule.Source.InFull);
        Line();
        Line("## Red flags");
        Line();
        Head("flag", "urgency", "what the reporter reads", "raised by reported harm", "source");
        foreach (var flag in SafetyScreen.Catalogue)
            Row($"`{flag.Code}` {flag.Title}", flag.Urgency.Code(), flag.Text, string.Join("; ", flag.Harms.Select(h => $"{h.Kind} ({string.Join(", ", h.Severities)})")), flag.Source.InFull);
        Line();
        Line("## Cautions");
        Line();
        Head("caution", "applies", "text", "stop rule", "source");
        foreach (var caution in Cautions.Catalogue)
            Row($"`{caution.Code}` {caution.Title}", caution.Condition ?? "always", caution.Text, caution.Stop ? "yes" : "no", caution.Source.InFull);
        Line();
        Line("## Temperatures");
        Line();
        Head("of", "limit", "", "source");
        foreach (var limit in Cautions.Temperatures)
            Row(limit.Title, $"{limit.Celsius} °C", limit.Text, limit.Source.InFull);
        Line();
        Line("## Reporting standards");
        Line();
        Head("standard", "item", "asks for", "fields that fill it");
        foreach (var item in ReportingCheck.Items)
            Row(item.Standard.Code(), item.Item, item.Text, string.Join(", ", item.Fields.Select(f => $"`{f}`")));
        return page.ToString();
    }

    private static string Range(MeasureDefinition m) =>
        $"{(m.MinimumExcluded ? "above " : "")}{m.Minimum:0.###} to {(m.Maximum is { } max ? $"{max:0.###}" : "open")}{(m.Step is { } step ? $", step {step:0.###}" : "")}";

    private static string Window(Population p) => p.FromDay is null && p.ToDay is null ? ""
        : $"{p.FromDay ?? 0} to {(p.ToDay is { } to ? $"{to}" : "open")} ({(p.WindowMark == Mark.Published ? "published" : "set here")})";
}
