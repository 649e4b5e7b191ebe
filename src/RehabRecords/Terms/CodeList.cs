namespace RehabRecords.Terms;

/// <summary>One code of a list of ours, with the words people read for it.</summary>
public sealed record Term(string Code, string Words);

/// <summary>A closed list of codes: the system it belongs to and every code of it, in the order people meet them.</summary>
public sealed class CodeList(string system, params Term[] terms)
{
    private readonly Dictionary<string, Term> _byCode = terms.ToDictionary(t => t.Code, StringComparer.Ordinal);

    public string System { get; } = system;

    public IReadOnlyList<Term> Terms { get; } = terms;

    public IEnumerable<string> Codes => Terms.Select(t => t.Code);

    public bool Has(string? code) => code is not null && _byCode.ContainsKey(code);

    /// <summary>The words for a code; the code itself where it is not of this list.</summary>
    public string Words(string code) => _byCode.TryGetValue(code, out var term) ? term.Words : code;

    /// <summary>Place in the list, or -1; lists that have a natural order (such as help) keep it.</summary>
    public int Place(string code) => Array.FindIndex(terms, t => t.Code == code);

    public override string ToString() => string.Join(", ", Codes);
}
