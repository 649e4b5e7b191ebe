using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Bundles;

/// <summary>
/// "The one that holds this identifier", as If-None-Exist and conditional references say it. Only identifiers are
/// claimed on unique rows, so only they can promise that there is one; any other condition is refused. A carer holds an
/// identifier once for each person cared for, so a RelatedPerson is meant surely only together with the person.
/// </summary>
/// <param name="Patient">For a RelatedPerson, whose carer is meant: as Patient/id, or as an entry of the same Bundle is called.</param>
public sealed record IdentifierCondition(string System, string Value, string? Patient = null)
{
    /// <param name="type">Of the resource that is meant.</param>
    /// <param name="query">The condition, with or without a question mark in front.</param>
    /// <param name="expression">Where the condition stands, for the error.</param>
    public static IdentifierCondition Parse(string type, string query, string expression)
    {
        List<string>? token = null;
        string? patient = null;
        foreach (var pair in query.TrimStart('?').Split('&', StringSplitOptions.RemoveEmptyEntries))
        {
            switch (pair.Split('=', 2))
            {
                case ["identifier", var text] when token is null:
                    token = Split(Unescaped(text));
                    break;
                case ["patient", { Length: > 0 } text] when patient is null && type == "RelatedPerson":
                    patient = Unescaped(text);
                    break;
                default:
                    throw Unsure(type, query, expression);
            }
        }

        return token is [{ Length: > 0 } system, { Length: > 0 } value]
            ? new IdentifierCondition(system, value, patient is null || patient.AsSpan().ContainsAny('/', ':') ? patient : "Patient/" + patient)
            : throw Unsure(type, query, expression);
    }

    /// <summary>Whether a resource carries this identifier and is about the person, if one is named.</summary>
    /// <param name="isNamed">Whether a reference in the resource means what another text, taken from the condition, means.</param>
    public bool Holds(Resource resource, Func<string, string, bool> isNamed) =>
        IdentifiersOf(resource).Any(i => i.System == System && i.Value == Value)
        && (Patient is null || (resource is RelatedPerson { Patient.Reference: { } reference } && isNamed(reference, Patient)));

    public override string ToString() => $"{System}|{Value}{(Patient is null ? "" : $" for {Patient}")}";

    private static string Unescaped(string text) => Uri.UnescapeDataString(text.Replace('+', ' '));

    private static RefusedException Unsure(string type, string query, string expression) => new(
        Refusal.Malformed,
        OperationOutcome.IssueType.NotSupported,
        $"The condition '{query}' cannot promise a single match. Use identifier=<system>|<value> and nothing else{(type == "RelatedPerson" ? ", or &patient=Patient/<id> with it" : "")}.",
        expression);

    private static IEnumerable<Identifier> IdentifiersOf(Resource resource) => resource.TryGetValue("identifier", out var found)
        ? found switch
        {
            Identifier one => [one],
            IEnumerable<Identifier> many => many,
            _ => [],
        }
        : [];

    // system|value, where a backslash takes the meaning from the bar, the comma or the dollar sign that follows.
    private static List<string> Split(string token)
    {
        var parts = new List<string> { "" };
        for (var i = 0; i < token.Length; i++)
        {
            if (token[i] == '\\' && i + 1 < token.Length && token[i + 1] is ('\\' or '|' or ',' or '$'))
                parts[^1] += token[++i];
            else if (token[i] is '|')
                parts.Add("");
            else if (token[i] is ',')
                return []; // a choice of values is more than one match
            else
                parts[^1] += token[i];
        }
        return parts;
    }
}
