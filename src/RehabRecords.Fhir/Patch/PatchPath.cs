using System.Text.RegularExpressions;
using Hl7.Fhir.FhirPath;
using Hl7.Fhir.Model;
using Hl7.FhirPath;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Patch;

/// <summary>
/// The FHIRPaths that a patch may use: steps downwards and conditions on what lies below. With these the work is bounded
/// by the size of the resource; an expression that can start again from the top inside a condition is not.
/// </summary>
internal static partial class PatchPath
{
    private static readonly HashSet<string> Functions = new(StringComparer.Ordinal)
    {
        "where", "first", "last", "single", "tail", "skip", "take", "ofType", "as", "is", "extension", "exists", "empty", "not", "count",
        "hasValue", "startsWith", "endsWith", "contains", "lower", "upper", "toString",
    };

    static PatchPath() => ElementNavFhirExtensions.PrepareFhirSymbolTableFunctions();

    /// <summary>What is wrong with a path, or null.</summary>
    public static string? Problem(string path)
    {
        if (path.Length == 0)
            return "it is empty. Give a FHIRPath such as Patient.birthDate.";
        if (ExpressionLimits.Problem(path) is { } limit)
            return limit;
        var bare = Literal().Replace(path, "''");
        if (bare.Contains('%', StringComparison.Ordinal))
            return "it uses a variable (%). Only steps from the resource downwards are taken.";
        return Call().Matches(bare).Select(m => m.Groups["name"].Value).FirstOrDefault(name => !Functions.Contains(name)) is { } unknown
            ? $"the function {unknown}() is not taken here; these are: {string.Join(", ", Functions)}."
            : null;
    }

    /// <exception cref="RefusedException">Malformed when the path is no FHIRPath; Invalid when it names something that is no element.</exception>
    public static IReadOnlyList<PocoNode> Find(Resource resource, string path, string at)
    {
        IReadOnlyList<PocoNode> found;
        try
        {
            found = [.. new FhirPathCompiler().Compile(path)([resource.ToPocoNode()], new FhirEvaluationContext())];
        }
#pragma warning disable CA1031 // The engine throws exceptions of many kinds at expressions it cannot make sense of.
        catch (Exception e) when (e is not OutOfMemoryException)
#pragma warning restore CA1031
        {
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid, $"The path '{path}' cannot be evaluated: {e.Message}", at);
        }
        return found.All(node => ReferenceEquals(Top(node).Poco, resource))
            ? found
            : throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.Processing, $"The path '{path}' gives a value that is worked out, not an element of the resource.", at);
    }

    private static PocoNode Top(PocoNode node)
    {
        while (node.Parent is { } parent)
            node = parent;
        return node;
    }

    [GeneratedRegex(@"'(\\.|[^'\\])*'", RegexOptions.ExplicitCapture, 250)]
    private static partial Regex Literal();

    [GeneratedRegex(@"(?<name>[A-Za-z_]\w*)\s*\(", RegexOptions.ExplicitCapture, 250)]
    private static partial Regex Call();
}
