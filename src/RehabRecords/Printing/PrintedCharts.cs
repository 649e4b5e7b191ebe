using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Pages.Charts;
using RehabRecords.Pages.Person;
using RehabRecords.Progress;

namespace RehabRecords.Printing;

/// <summary>
/// The measures of a document as charts, each with its words and the results behind it: drawn from what the document itself
/// holds, so that a signed one shows what was signed.
/// </summary>
internal static class PrintedCharts
{
    /// <returns>A section of the page; empty where the document holds no measure twice.</returns>
    public static string Of(Bundle document, ClinicRules rules)
    {
        // Measures are the person's: prescriptions and sessions are not needed. A document may hold a resource in several
        // versions, each as it was cited; a chart is of the latest.
        var resources = document.Entry.Select(e => e.Resource).OfType<Resource>().Where(r => r is Patient or CarePlan or Observation).GroupBy(r => (r.TypeName, r.Id))
            .Select(versions => versions.MaxBy(r => int.TryParse(r.Meta?.VersionId, out var version) ? version : 0)!).ToList();
        if (resources.OfType<CarePlan>().OrderByDescending(p => p.Period?.Start, StringComparer.Ordinal).FirstOrDefault() is not { } plan)
            return "";
        var record = ProgrammeMapping.Map(plan.Id!, resources);
        var charts = MeasureSeriesOf.All(record, Findings.Of(record, MeasureCatalogue.Default, rules)).Select(s => s.Chart).OfType<MeasureChart>().ToList();
        if (charts.Count == 0)
            return "";
        var page = new StringBuilder("<section class=\"charts\" aria-labelledby=\"charts\">\n<h2 id=\"charts\">Measures as charts</h2>\n");
        foreach (var chart in charts)
            page.Append($"<figure>\n<h3>{Prose.Encode(chart.Title)}</h3>\n{chart.ToSvg()}\n<figcaption>{Prose.Encode(chart.Description)}</figcaption>\n<table>\n<thead><tr><th scope=\"col\">Day</th><th scope=\"col\">Result</th></tr></thead>\n<tbody>")
                .AppendJoin("", chart.Points.Select(p => $"<tr><td>{Wording.Date(p.Day)}</td><td>{Prose.Encode(p.Words)}</td></tr>")).Append("</tbody>\n</table>\n</figure>\n");
        return page.Append("</section>\n").ToString();
    }
}
