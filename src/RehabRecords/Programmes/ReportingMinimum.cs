using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;

namespace RehabRecords.Programmes;

/// <summary>How well a clinic asks a programme to be described before it becomes active; nothing unless it says so.</summary>
public sealed class ReportingMinimum
{
    /// <summary>Fewest of the 19 lines of CERT that must be filled.</summary>
    public int Cert { get; set; }

    /// <summary>Fewest of the 12 items of TIDieR that must be filled.</summary>
    public int Tidier { get; set; }

    /// <summary>Lines of CERT that must be filled, by number.</summary>
    public List<string> CertItems { get; set; } = [];

    /// <summary>Items of TIDieR that must be filled, by number.</summary>
    public List<string> TidierItems { get; set; } = [];

    /// <summary>A minimum that no programme can meet before it is practised would keep every programme a draft.</summary>
    /// <exception cref="InvalidOperationException">Out of range, or an item that does not exist or fills with practice only.</exception>
    public void Check(string section)
    {
        foreach (var (standard, lines, items, name) in Of())
        {
            var fillable = ReportingCheck.Items.Where(i => i.Standard == standard && i.Fields.All(ReportingFields.CanBePrescribed)).Select(i => i.Item).ToList();
            if (lines < 0 || lines > fillable.Count)
                throw new InvalidOperationException($"Setting {section}:Reporting:{name} is {lines}; give 0 to {fillable.Count}, the lines that can be filled before practice is reported.");
            if (items.Find(i => !fillable.Contains(i)) is { } wrong)
                throw new InvalidOperationException($"Setting {section}:Reporting:{name}Items has '{wrong}'; use of {string.Join(", ", fillable)}, the lines that can be filled before practice is reported.");
        }
    }

    /// <summary>The gaps that keep a programme from becoming active; empty when it may.</summary>
    internal IReadOnlyList<ReportingGap> Gaps(IReadOnlyList<string> filled) =>
        [.. Of().SelectMany(s => ReportingCheck.Below(ReportingCheck.Score(s.Standard, filled), s.Lines, s.Items))];

    /// <exception cref="RefusedException">The programme is below the minimum; each field that would fill a gap is named.</exception>
    internal void Refuse(CarePlan programme, IReadOnlyCollection<ServiceRequest> requests)
    {
        var filled = ReportingFields.Filled(programme, requests, practised: false);
        var gaps = from gap in Gaps(filled)
                   from field in gap.Missing
                   where ReportingFields.CanBePrescribed(field)
                   group gap.Item by field into lines
                   let lacking = ReportingFields.Lacking(lines.Key, requests)
                   select Issue.Error(OperationOutcome.IssueType.BusinessRule,
                       $"{ReportingFields.FilledBy(lines.Key)} is missing{(lacking.Count == 0 ? "" : $" for {string.Join(", ", lacking)}")}; it fills {string.Join(", ", lines.Select(Line))}. "
                       + $"The clinic asks for {Words(filled)} before a programme becomes active: fill the gap, or keep the programme as a draft (status draft).",
                       ReportingFields.FilledBy(lines.Key));
        var issues = gaps.ToList();
        if (issues.Count > 0)
            throw new RefusedException(Refusal.Invalid, issues);
    }

    public static string Line(ReportingItem item) => $"{Name(item.Standard)} {item.Item} ({item.Text})";

    public static string Name(ReportingStandard standard) => standard == ReportingStandard.Cert ? "CERT" : "TIDieR";

    private string Words(IReadOnlyList<string> filled) => string.Join(" and ", Of().Where(s => s.Lines > 0 || s.Items.Count > 0).Select(s =>
    {
        var score = ReportingCheck.Score(s.Standard, filled);
        var lines = s.Lines > 0 ? $"{s.Lines} of {score.Lines} lines of {Name(s.Standard)} ({score.Filled} are filled)" : "";
        var items = s.Items.Count > 0 ? $"{Name(s.Standard)} {string.Join(", ", s.Items)}" : "";
        return string.Join(" with ", new[] { lines, items }.Where(w => w.Length > 0));
    }));

    private IEnumerable<(ReportingStandard Standard, int Lines, List<string> Items, string Name)> Of() =>
        [(ReportingStandard.Cert, Cert, CertItems, nameof(Cert)), (ReportingStandard.Tidier, Tidier, TidierItems, nameof(Tidier))];
}
