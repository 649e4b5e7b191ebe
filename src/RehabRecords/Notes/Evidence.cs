using System.Collections;
using System.Text.RegularExpressions;

namespace RehabRecords.Notes;

/// <summary>
/// What a statement rests on: exact versions of resources, at least one, each once, in one fixed order, so that
/// the order in which results arrived cannot show in a note.
/// </summary>
public sealed partial class Evidence : IReadOnlyList<string>
{
    private readonly string[] _addresses;

    public Evidence(string first, params IEnumerable<string> others)
    {
        _addresses = [.. others.Prepend(first).Distinct(StringComparer.Ordinal).Order(StringComparer.Ordinal)];
        if (Array.Find(_addresses, a => !VersionedAddress().IsMatch(a)) is { } wrong)
            throw new ArgumentException($"'{wrong}' is not the address of one version of a resource; write Type/id/_history/version.", nameof(first));
    }

    public int Count => _addresses.Length;

    public string this[int index] => _addresses[index];

    /// <summary>The evidence, or null where there is none: then there is nothing to state.</summary>
    public static Evidence? Of(IEnumerable<string> addresses)
    {
        var list = addresses.ToList();
        return list.Count == 0 ? null : new Evidence(list[0], list.Skip(1));
    }

    public Evidence And(params IEnumerable<string> others) => new(_addresses[0], _addresses.Skip(1).Concat(others));

    public IEnumerator<string> GetEnumerator() => ((IEnumerable<string>)_addresses).GetEnumerator();

    IEnumerator IEnumerable.GetEnumerator() => GetEnumerator();

    [GeneratedRegex(@"^[A-Z][A-Za-z]+/[A-Za-z0-9\-.]{1,64}/_history/[1-9][0-9]*$")]
    private static partial Regex VersionedAddress();
}
