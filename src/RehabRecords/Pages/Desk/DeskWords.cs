using System.ComponentModel;
using System.Reflection;
using System.Text.Json;
using RehabRecords.Library;
using RehabRecords.Notes;
using RehabRecords.Programmes;
using RehabRecords.Terms;

namespace RehabRecords.Pages.Desk;

/// <summary>Words of the desk's fields, taken from where the record keeps them.</summary>
internal static class DeskWords
{
    public static readonly (string Value, string Words)[] Sides = [("left", "left arm and hand"), ("right", "right arm and hand"), ("both", "both arms and hands")];

    public static readonly (string Value, string Words)[] Days =
        [("mon", "Monday"), ("tue", "Tuesday"), ("wed", "Wednesday"), ("thu", "Thursday"), ("fri", "Friday"), ("sat", "Saturday"), ("sun", "Sunday")];

    public static readonly (string Value, string Words)[] Weights = [("0", "0, none"), ("1", "1, a little"), ("2", "2, moderate"), ("3", "3, very")];

    public static readonly (string Value, string Words)[] Tailoring = [("generic", "as in the template, for everybody"), ("tailored", "tailored to this person")];

    /// <summary>What the status of a programme means.</summary>
    public static string StatusOf(string status) => status switch
    {
        "draft" => "draft, not handed over",
        "active" => "in force",
        "on-hold" => "on hold",
        "revoked" => "withdrawn",
        "entered-in-error" => "a draft that was withdrawn",
        _ => status,
    };

    public static string LabelOf(string code) => Wording.Capital(CodeLists.ReportingItem.Words(code));

    /// <summary>What the interface says of the member, which is what a person needs to know as well; nothing where the label says it already.</summary>
    public static string? HintOf(string member, string label) => typeof(ReportingRequest).GetProperties()
        .First(p => JsonNamingPolicy.CamelCase.ConvertName(p.Name) == member).GetCustomAttribute<DescriptionAttribute>()?.Description is { } said && said.TrimEnd('.') != label ? said : null;

    public static string LevelName(string level) => level switch
    {
        "-2" => "−2, much less than expected",
        "-1" => "−1, less than expected",
        "0" => "0, expected",
        "+1" => "+1, more than expected",
        _ => "+2, much more than expected",
    };

    /// <summary>Where on the page, or in the library, a gap of the description is filled.</summary>
    /// <returns>Nothing to go to where only practice fills it.</returns>
    public static IEnumerable<(string Words, string? Address)> Filling(ReportingFieldAnswer field, DeskView desk)
    {
        if (field.FilledBy == ReportingFields.WithPractice)
            return [("fills with the first reported session", null)];
        if (field.FilledBy.StartsWith("reporting.", StringComparison.Ordinal))
            return [(LabelOf(CodeOf(field.FilledBy["reporting.".Length..])), $"#{FieldId.Of(field.FilledBy)}")];
        if (field.FilledBy.StartsWith("exercises[].", StringComparison.Ordinal))
            return field.Exercises.Select(title => (title, (string?)$"#{FieldId.Of($"exercises[{PlaceOf(title, desk)}].{MemberOf(field.FilledBy)}")}"));
        if (field.FilledBy.EndsWith(" in the library", StringComparison.Ordinal))
            return field.Exercises.Select(title => ($"{title}: {field.FilledBy}", (string?)$"/library/exercises/{CodeOf(title, desk)}"));
        return [field.FilledBy switch
        {
            "title" => ("Title", "#title"),
            "goals" => ("Goals", "#goals"),
            "end" => ("Last day", "#end"),
            "levelReason" => ("Why this level", "#levelReason"),
            _ => ("Who prescribes", "#author-name"),
        }];
    }

    private static string CodeOf(string member) => member == "tailored" ? member : DeskFields.ReportingItems.First(i => i.Member == member).Code;

    /// <summary>The field of the page: an amount and a schedule have several.</summary>
    private static string MemberOf(string filledBy) => filledBy["exercises[].".Length..] switch
    {
        "dosage" => "dosage.sets",
        "schedule" => "schedule.timesPerDay",
        var member => member,
    };

    private static int PlaceOf(string title, DeskView desk) => Math.Max(0, desk.Programme.Exercises.Index().FirstOrDefault(e => e.Item.Title == title).Index);

    private static string CodeOf(string title, DeskView desk) =>
        LibraryVersions.CodeOf(desk.Programme.Exercises.FirstOrDefault(e => e.Title == title)?.Exercise ?? "");
}
