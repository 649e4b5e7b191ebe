using RehabRecords.Discharges;
using RehabRecords.Pages.Desk;

namespace RehabRecords.Pages.Leaving;

/// <summary>
/// A form whose fields are called as the members of a request, as typed: nothing of it is lost by a refusal. Empty rows of a
/// list are left out, and those after them move up, so that a message about a row is told at the row.
/// </summary>
public sealed class RequestFields
{
    /// <summary>Why something may stay open: the address of that stands behind it.</summary>
    public const string Override = "override:";

    /// <summary>What a person types of somebody who gets a document.</summary>
    public static readonly string[] OfRecipient = ["name", "role", "organisation"];

    private const int MostRows = 50;

    private readonly Dictionary<string, string> _values = new(StringComparer.Ordinal);
    private readonly Dictionary<string, int> _rows = new(StringComparer.Ordinal);

    public string? this[string field]
    {
        get => _values.GetValueOrDefault(field);
        init => Put(field, value);
    }

    /// <summary>Rows of a list that hold anything.</summary>
    public int Rows(string list) => _rows.GetValueOrDefault(list);

    internal static RequestFields Of(IFormCollection form, params IReadOnlyList<(string List, string[] Members)> lists)
    {
        var fields = new RequestFields();
        foreach (var name in form.Keys.Where(k => k[0] != '_' && !k.Contains('[', StringComparison.Ordinal)))
            fields.Put(name, form.Text(name));
        foreach (var (list, members) in lists)
            for (var i = 0; i < MostRows; i++)
                fields.Add(list, [.. members.Select(m => (m, form.Text($"{list}[{i}].{m}")))]);
        return fields;
    }

    /// <summary>Where people sign in, it is who signed in who asks for it, whatever was sent.</summary>
    internal RequestFields By(HttpContext http, string path)
    {
        if (ClinicianFields.SignedIn(http) is { } who)
            foreach (var (member, value) in new[] { ("name", who.Name), ("role", who.Role), ("registration", who.Registration) })
            {
                _values.Remove($"{path}.{member}");
                Put($"{path}.{member}", value);
            }

        return this;
    }

    internal void Put(string field, string? text)
    {
        if (!string.IsNullOrWhiteSpace(text))
            _values[field] = text;
    }

    /// <summary>A row, unless it is empty.</summary>
    internal void Add(string list, params IReadOnlyList<(string Member, string? Text)> row)
    {
        if (row.All(r => r.Text is null))
            return;
        var at = Rows(list);
        _rows[list] = at + 1;
        foreach (var (member, text) in row)
            Put($"{list}[{at}].{member}", text);
    }

    internal RecipientRequest Recipient(string path) => new() { Name = this[$"{path}.name"], Role = this[$"{path}.role"], Organisation = this[$"{path}.organisation"] };

    internal IReadOnlyList<T>? List<T>(string list, Func<string, T> row) => Rows(list) == 0 ? null : [.. Enumerable.Range(0, Rows(list)).Select(i => row($"{list}[{i}]"))];

    internal ClinicianFields Clinician(string path) => new(this[$"{path}.name"], this[$"{path}.role"], this[$"{path}.registration"]);

    internal IReadOnlyList<OverrideRequest> Overrides =>
        [.. _values.Where(v => v.Key.StartsWith(Override, StringComparison.Ordinal)).Select(v => new OverrideRequest { Blocker = v.Key[Override.Length..], Reason = v.Value })];

    /// <summary>
    /// Where on the page a field of the request is: a blocker is told where the reason to leave it open is asked for, a list
    /// that lacks everything at its first row.
    /// </summary>
    internal string FieldOf(string expression)
    {
        for (var i = 0; i < Overrides.Count; i++)
            if (expression.StartsWith($"overrides[{i}]", StringComparison.Ordinal))
                return Override + Overrides[i].Blocker;
        return expression switch
        {
            "distribution" => "distribution[0].name",
            "to" => "to.name",
            _ => expression.Contains('/', StringComparison.Ordinal) ? Override + expression : expression,
        };
    }
}
