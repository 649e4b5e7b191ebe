using System.Globalization;
using System.Xml.Linq;
using OxyPlot;

namespace RehabRecords.Pages.Charts;

/// <summary>
/// A plot as SVG that can stand inside a page: no inline styles, which the pages' policy refuses, a size that follows the
/// page, and words for those who cannot see it.
/// </summary>
internal static class SvgChart
{
    private const double Width = 640;

    private static readonly XNamespace Svg = "http://www.w3.org/2000/svg";

    /// <param name="id">Unique in the page.</param>
    /// <param name="title">What is shown.</param>
    /// <param name="description">What can be seen in it, in a sentence or two.</param>
    public static string Of(PlotModel plot, string id, string title, string description, double height = 280)
    {
        var root = XElement.Parse(new SvgExporter { Width = Width, Height = height, UseVerticalTextAlignmentWorkaround = true }.ExportToString(plot));
        root.Attributes().Where(a => !a.IsNamespaceDeclaration && a.Name.LocalName != "viewBox").Remove();
        root.SetAttributeValue("viewBox", string.Create(CultureInfo.InvariantCulture, $"0 0 {Width:0} {height:0}"));
        root.SetAttributeValue("class", "chart");
        root.SetAttributeValue("role", "img");
        root.SetAttributeValue("aria-labelledby", $"{id}-title {id}-desc");
        root.AddFirst(new XElement(Svg + "title", new XAttribute("id", $"{id}-title"), title), new XElement(Svg + "desc", new XAttribute("id", $"{id}-desc"), description));
        var clips = 0;
        foreach (var element in root.DescendantsAndSelf())
            Plain(element, id, ref clips);
        return root.ToString(SaveOptions.DisableFormatting);
    }

    private static void Plain(XElement element, string id, ref int clips)
    {
        if (element.Attribute("style") is { } style)
        {
            foreach (var declaration in style.Value.Split(';', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries))
                if (declaration.Split(':', 2, StringSplitOptions.TrimEntries) is [var name, var value])
                    element.SetAttributeValue(name, value);
            style.Remove();
        }
        // The page's own type, and no ids that another chart of the page has too.
        element.Attribute("font-family")?.Remove();
        foreach (var attribute in element.Attributes().ToList())
        {
            if (attribute.Name == "id" && element.Name.LocalName == "clipPath")
                attribute.Value = $"{id}-{attribute.Value}";
            else if (attribute.Value.StartsWith("url(#", StringComparison.Ordinal))
                attribute.Value = attribute.Value.Replace("url(#", $"url(#{id}-", StringComparison.Ordinal);
        }
    }
}
