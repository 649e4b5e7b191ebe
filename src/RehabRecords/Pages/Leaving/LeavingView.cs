using System.Globalization;
using System.Text.RegularExpressions;
using RehabRecords.Discharges;
using RehabRecords.Notes;
using RehabRecords.Pages.Desk;

namespace RehabRecords.Pages.Leaving;

/// <summary>The form by which a discharge is begun, or drafted anew.</summary>
/// <param name="Fields">As typed, or as stated in the form that a draft was made from.</param>
public sealed record DischargeFormView(string Person, string Name, RequestFields Fields)
{
    public IReadOnlyList<BlockerView> Blockers { get; init; } = [];

    /// <summary>The discharge that is drafted already, which this form would draft anew; null for the first.</summary>
    public string? Draft { get; init; }

    public Faults Faults { get; init; } = Faults.None;

    public string Address => $"/people/{Person}/discharge";
}

/// <summary>A discharge that was begun: what comes next, and its completion.</summary>
public sealed record DischargePageView(DischargeView Discharge, string Name, RequestFields Fields)
{
    public Faults Faults { get; init; } = Faults.None;

    public string Address => $"/discharges/{Discharge.Id}";

    public string Person => Discharge.Person.Split('/')[^1];
}

/// <summary>The form of a letter to the next team.</summary>
public sealed record LetterFormView(string Person, string Name, RequestFields Fields)
{
    public Faults Faults { get; init; } = Faults.None;

    public string Address => $"/people/{Person}/letters/new";
}

/// <summary>What stands in the way, in the words of a page, with the page on which it is settled.</summary>
internal static partial class BlockerWords
{
    /// <summary>What it is, with days as people write them.</summary>
    public static string What(BlockerView blocker) => Wording.Capital(Moment().Replace(blocker.What, m => Wording.Date(DateOnly.ParseExact(m.Groups[1].Value, "yyyy-MM-dd", CultureInfo.InvariantCulture))));

    [GeneratedRegex(@"\b(\d{4}-\d{2}-\d{2})(?:T[0-9:.]+(?:Z|[+-]\d{2}:\d{2})?)?")]
    private static partial Regex Moment();

    public static (string? Address, string Remedy) Of(BlockerView blocker)
    {
        var id = blocker.Blocker.Split('/')[^1];
        return blocker.Kind switch
        {
            "red-flag" => ($"/flags/{id}", "Clear it with what was examined or decided; it cannot be left open."),
            "unsigned-note" => ($"/notes/{id}", "Read and sign it, or say why it may stay unsigned."),
            "draft-programme" => ($"/programmes/{id}/desk", "Hand it over or withdraw it, or say why it may stay a draft."),
            "prescription-to-come" => ($"/programmes/{blocker.Programme}/desk#change", "Take it out by a revision of the programme, or say why it is given up."),
            _ => ($"/tasks/{id}", "Have it done or cancelled, or say why it may stay open."),
        };
    }
}
