using System.Text.RegularExpressions;
using RehabRecords.Clinical;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Notes;

/// <summary>The names of things as a note says them.</summary>
internal static partial class NotePhrases
{
    public const int RecentDays = Findings.RecentDays;

    public static List<Session> Recent(this ProgrammeRecord record)
    {
        var before = record.AsOf.AddDays(-RecentDays);
        return [.. record.Sessions.Where(s => s.Report.Day > before)];
    }

    public static string InRecent(this ProgrammeRecord record) => $"in the {RecentDays} days to {Wording.Date(record.AsOf)}";

    /// <summary>"Clothes pegs (right hand)".</summary>
    public static string ExerciseName(this ProgrammeRecord record, string planned)
    {
        var prescription = record.Prescriptions.LastOrDefault(p => p.Planned.Id == planned);
        return prescription is null ? "An exercise outside the programme"
            : prescription.Planned.Title + prescription.Side switch
            {
                Side.Left => " (left hand)",
                Side.Right => " (right hand)",
                Side.Both => " (both hands)",
                _ => "",
            };
    }

    /// <summary>"Nine-Hole Peg Test, right (affected)".</summary>
    public static string MeasureName(this ProgrammeRecord record, string title, Side? side)
    {
        if (side is not (Side.Left or Side.Right))
            return title;
        var role = record.Person.Context.AffectedSide switch
        {
            Side.Both => " (both sides affected)",
            Side.Left or Side.Right => record.Person.Context.AffectedSide == side ? " (affected)" : " (less affected)",
            _ => "",
        };
        return $"{title}, {side.Value.Code()}{role}";
    }

    /// <summary>"the carer, Lew Fictionby,".</summary>
    public static string Who(Reporter reporter)
    {
        var role = Role(reporter.Role);
        return reporter.Name is { Length: > 0 } name && reporter.Role != "patient" ? $"{role}, {name}," : role;
    }

    private static string Role(string role) => role switch
    {
        "patient" => "the person",
        "carer" => "the carer",
        "support-worker" => "the support worker",
        "clinician" => "the clinician",
        _ => "somebody whose role is not recorded",
    };

    /// <summary>
    /// Another's words, unchanged but for line breaks and for the brackets of what looks like HTML: a FHIR string may not
    /// hold a tag, and a remark that was accepted must not make its note refused. The evidence keeps them as typed.
    /// </summary>
    public static string Quote(string words) =>
        $"“{Tag().Replace(string.Join(' ', words.Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries)), "‹$1›")}”";

    [GeneratedRegex("<([^<>]*)>", RegexOptions.None, matchTimeoutMilliseconds: 250)]
    private static partial Regex Tag();

    public static string Words(this NotDoneReason reason) => CodeLists.NotDoneReason.Words(reason.Code());

    public static string Reasons(IEnumerable<NotDoneReason?> reasons) => Wording.List(
        reasons.GroupBy(r => r).OrderByDescending(g => g.Count()).ThenBy(g => g.Key is null).ThenBy(g => g.Key)
            .Select(g => $"{g.Key?.Words() ?? "no reason given"} {g.Count()}"));

    public static string Urgency(Urgency urgency) => urgency switch
    {
        Clinical.Urgency.Emergency => "Emergency",
        Clinical.Urgency.UrgentReview => "Urgent review",
        _ => "Note at next review",
    };

    /// <summary>"2" or "1 to 4".</summary>
    public static string Range(IReadOnlyCollection<decimal> values) =>
        values.Min() == values.Max() ? Wording.Number(values.Min()) : $"{Wording.Number(values.Min())} to {Wording.Number(values.Max())}";

    /// <summary>A value with its unit as a person reads it.</summary>
    public static string Value(this MeasureDefinition measure, decimal value) => measure.FormatWithUnit(value).TrimEnd().Replace('-', '−');

    /// <summary>A threshold as it was published, which may be finer than the measure's own step: 5.5 blocks/min.</summary>
    public static string Threshold(this MeasureDefinition measure, decimal value) => $"{Wording.Number(value, 3)} {measure.UnitText}".TrimEnd();

    /// <summary>"by the person and the carer".</summary>
    public static string By(IEnumerable<Session> sessions) =>
        "by " + Wording.List(sessions.Select(s => s.Reporter.Role).Distinct().Order(StringComparer.Ordinal).Select(Role));

    public static Evidence Proof(IReadOnlyList<string> addresses, ProgrammeRecord record) =>
        Evidence.Of(addresses) ?? new Evidence(record.Programme.Evidence);
}
