using RehabRecords.Fhir;

namespace RehabRecords.Pages.Desk;

/// <summary>What was refused, to be told beside the fields it is about.</summary>
/// <param name="form">The form that was refused, on a page that has several; empty for the main one.</param>
public sealed class Faults(IReadOnlyList<Issue> issues, string form = "")
{
    public static readonly Faults None = new([]);

    public bool Any => All.Count > 0;

    public string Form { get; } = form;

    public IReadOnlyList<Issue> All { get; } = [.. issues.Where(i => i.Refuses)];

    /// <summary>Messages of a field; of a list, those of its entries too.</summary>
    public IReadOnlyList<string> Of(string field, string form = "") => form != Form ? [] :
        [.. All.Where(i => i.Expression == field || i.Expression.StartsWith(field + "[", StringComparison.Ordinal)).Select(i => i.Message)];

    /// <summary>Whether anything below a path was refused, so that a folded part is shown open.</summary>
    public bool Within(string path) => All.Any(i => i.Expression.StartsWith(path, StringComparison.Ordinal));
}

/// <summary>Names of fields as the requests have them, made fit for an id of the page.</summary>
internal static class FieldId
{
    public static string Of(string field) => string.Concat(field.Select(c => char.IsAsciiLetterOrDigit(c) ? c : c == '+' ? 'p' : '-'));

    public static string Of(string form, string field) => Of(form.Length == 0 ? field : $"{form}-{field}");
}
