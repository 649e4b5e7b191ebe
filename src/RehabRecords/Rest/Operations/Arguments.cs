using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;

namespace RehabRecords.Rest.Operations;

/// <summary>What an operation was called with: the query, and for a POST the Parameters in the body as well.</summary>
internal sealed class Arguments
{
    private readonly List<(string Name, string? Value, Resource? Resource)> _given;

    private Arguments(List<(string Name, string? Value, Resource? Resource)> given) => _given = given;

    /// <param name="known">The parameters the operation takes; others are refused unless lenient handling is asked for.</param>
    public static async Task<Arguments> ReadAsync(Call call, params string[] known)
    {
        var given = call.Query().Where(q => q.Value.Length > 0).Select(q => (q.Key, (string?)q.Value, (Resource?)null)).ToList();
        if (HttpMethods.IsPost(call.Http.Request.Method) && call.Http.Request.ContentLength is not 0 && (call.Http.Request.ContentLength > 0 || call.Http.Request.ContentType is not null))
        {
            var body = await call.ReadBodyAsync();
            given.AddRange(body is Parameters parameters
                ? parameters.Parameter.Select(p => (p.Name ?? "", Text(p.Value), p.Resource))
                : throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid,
                    $"This operation takes a Parameters resource as its body; a {body.TypeName} was sent. Put it into Parameters.parameter.resource.", body.TypeName));
        }

        if (!call.Prefer.Lenient)
            Call.RefuseOther([.. given.Select(g => KeyValuePair.Create(g.Item1, g.Item2 ?? ""))], known);
        return new Arguments(given);
    }

    /// <summary>The value of a parameter that may be given once; null when it was not given.</summary>
    public string? Once(string name)
    {
        var values = All(name);
        return values.Count <= 1
            ? values.Count == 0 ? null : values[0]
            : throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid, $"{name} is given {values.Count} times; give it once.", name);
    }

    /// <summary>Every value of a parameter; a reference is its literal address.</summary>
    public IReadOnlyList<string> All(string name) => [.. _given.Where(g => g.Name == name && g.Value is not null).Select(g => g.Value!)];

    /// <summary>The values of a parameter that may also be given as a list with commas.</summary>
    public IReadOnlyList<string> List(string name) =>
        [.. All(name).SelectMany(v => v.Split(',', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)).Distinct(StringComparer.Ordinal)];

    public Resource? Resource(string name) => _given.Find(g => g.Name == name && g.Resource is not null).Resource;

    /// <summary>A moment such as 2026-01-31T09:00:00Z.</summary>
    public DateTimeOffset? Instant(string name) =>
        Once(name) is not { } text ? null
        // A plus sign in a query is a space unless it was escaped.
        : DateTimeOffset.TryParse(text.Replace(' ', '+'), CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal, out var at) ? at
        : throw Unreadable(name, text, "an instant such as 2026-01-31T09:00:00Z");

    public int? Number(string name, int least = 0) =>
        Once(name) is not { } text ? null
        : int.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var number) && number >= least ? number
        : throw Unreadable(name, text, $"a whole number from {least}");

    public bool? Truth(string name) => Once(name) switch
    {
        null => null,
        "true" => true,
        "false" => false,
        var text => throw Unreadable(name, text, "true or false"),
    };

    public static RefusedException Unreadable(string name, string value, string wanted) =>
        new(Refusal.Malformed, OperationOutcome.IssueType.Value, $"{name} is '{value}'; give {wanted}.", name);

    private static string? Text(DataType? value) => value switch
    {
        ResourceReference reference => reference.Reference,
        PrimitiveType primitive => primitive.ToString(),
        _ => null,
    };
}
