using Hl7.Fhir.Model;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using Item = Hl7.Fhir.Model.QuestionnaireResponse.ItemComponent;

namespace RehabRecords.Discharges;

/// <summary>Items of a form that is kept, and back; what was not said is no item.</summary>
internal static class FormItems
{
    public static Item? Text(string link, string words, string? value) => value is null ? null
        : new Item { LinkId = link, Text = words, Answer = [new() { Value = new FhirString(value) }] };

    public static Item? Day(string link, string words, DateOnly? value) => value is not { } day ? null
        : new Item { LinkId = link, Text = words, Answer = [new() { Value = new Date(Timings.Iso(day)) }] };

    public static Item Group(string link, string words, params Item?[] items) => new() { LinkId = link, Text = words, Item = [.. items.OfType<Item>()] };

    public static string Line(Item item) => item.Item.Count > 0
        ? $"{item.Text}: {string.Join("; ", item.Item.Select(i => $"{i.Text}: {Value(i)}"))}."
        : $"{item.Text}: {Value(item)}";

    private static string? Value(Item item) => item.Answer.FirstOrDefault()?.Value?.ToString();

    public static Item? Inner(Item item, string link) => item.Item.FirstOrDefault(i => i.LinkId == link);

    public static string? Part(Item item, string link) => TextOf(Inner(item, link));

    public static string? TextOf(Item? item) => (item?.Answer.FirstOrDefault()?.Value as FhirString)?.Value;

    public static DateOnly? DayOf(Item? item) => Addresses.Day((item?.Answer.FirstOrDefault()?.Value as Date)?.Value);
}
