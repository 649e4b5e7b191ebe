using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Library;

/// <summary>
/// Says in sentences what the extensions say, for a person at the kitchen table and for a receiver who knows none of
/// our extensions.
/// </summary>
public static class PlainWords
{
    public static string Dosage(DosageRequest d)
    {
        var amount = (d.Sets, d.Repetitions) switch
        {
            (null, { } repetitions) => Count(repetitions, "repetition"),
            ({ } sets, null) => Count(sets, "set"),
            ({ } sets, { } repetitions) => $"{Count(sets, "set")} of {Count(repetitions, "repetition")}",
            _ => null,
        };
        var minutes = d.Minutes is { } m ? $"{Rules.Number(m)} {(m == 1 ? "minute" : "minutes")}" : null;
        var sentences = new List<string>
        {
            (amount, minutes) switch
            {
                ({ } a, { } t) => $"Do {a}, about {t} in all.",
                ({ } a, null) => $"Do {a}.",
                (null, { } t) => $"Practise for {t}.",
                _ => "",
            },
        };
        if (d.HoldSeconds is { } hold)
            sentences.Add($"Hold each one for {Count(hold, "second")}.");
        if (d.RestSeconds is { } rest)
            sentences.Add($"Rest for {Count(rest, "second")} {(d.Sets > 1 ? "between sets" : "afterwards")}.");
        if (d.Tempo is { } tempo)
            sentences.Add(Sentence($"Tempo: {tempo}"));
        return string.Join(' ', sentences.Where(s => s.Length > 0));
    }

    /// <summary>Everything of the set-up but the amount.</summary>
    public static IEnumerable<string> SetUp(ExerciseSetUp s)
    {
        if (s.Position is { } position)
            yield return Sentence($"Position: {CodeLists.Position.Words(position)}");
        if (s.HandOrder is { } order)
            yield return Sentence($"Hands: {CodeLists.HandOrder.Words(order)}");
        if (s.HelpLevel is { } help)
            yield return Sentence($"Help: {CodeLists.HelpLevel.Words(help)}");
    }

    public static string Equipment(IEnumerable<EquipmentItem> items)
    {
        var list = items.Select(i => i.HouseholdAlternative is { } or ? $"{i.Item} (or {or})" : i.Item).ToList();
        return list.Count == 0 ? "" : Sentence($"You need: {string.Join("; ", list)}");
    }

    public static string Success(ExerciseSetUp s) => s.SuccessCriterion is { } success ? Sentence($"It counts when: {success}") : "";

    public static IEnumerable<string> Grading(IEnumerable<GradingStep> steps) =>
        steps.Select(s => Sentence($"{(s.Direction == "harder" ? "To make it harder" : "To make it easier")} ({CodeLists.GradingDimension.Words(s.Dimension!)}): {s.Text}"));

    public static IEnumerable<string> Cautions(IEnumerable<CautionItem> cautions) =>
        cautions.Select(c => Sentence($"{(c.Stop ? "Stop rule" : "Take care")} ({CodeLists.Caution.Words(c.Code!)}{(c.Condition is { } when ? $", {when}" : "")}): {c.Text}"));

    public static string Sentence(string text)
    {
        var trimmed = text.Trim();
        return trimmed.Length == 0 || trimmed[^1] is '.' or '!' or '?' ? trimmed : trimmed + ".";
    }

    public static string Count(int number, string one) => number == 1 ? $"1 {one}" : $"{number} {one}s";
}
