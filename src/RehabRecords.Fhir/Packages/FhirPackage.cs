using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Packages;

/// <summary>A definition of a package that is not used, and why: told in the log and to whoever claims it.</summary>
public sealed record LeftOut(string Package, string Url, string Reason);

/// <summary>One package as it was read: who made it for which version of FHIR, and its definitions, not yet fit for use.</summary>
internal sealed class FhirPackage
{
    private static readonly ReadLimits Limits = new() { MaxBytes = int.MaxValue, MaxArrayLength = 200_000 };

    private FhirPackage(string file, string name, string version)
    {
        File = file;
        Name = name;
        Version = version;
    }

    public string File { get; }

    public string Name { get; }

    public string Version { get; }

    /// <summary>As packages name each other: name#version.</summary>
    public string Label => $"{Name}#{Version}";

    public List<IConformanceResource> Definitions { get; } = [];

    public List<LeftOut> LeftOut { get; } = [];

    /// <exception cref="PackageUnusableException">The archive is not sound, or not of FHIR R4.</exception>
    public static FhirPackage Read(string file, ReadOnlyMemory<byte> tgz, PackageLimits limits)
    {
        var files = PackageArchive.Read(file, tgz, limits);
        if (!files.TryGetValue("package.json", out var manifest))
            throw new PackageUnusableException($"{file} has no package/package.json; it is not a FHIR package.");
        var package = OfManifest(file, manifest);
        foreach (var (name, json) in files.OrderBy(f => f.Key, StringComparer.Ordinal))
        {
            if (name != "package.json" && TypeOf(file, name, json) is "StructureDefinition" or "ValueSet" or "CodeSystem")
                package.Add(name, json, limits);
        }

        return package;
    }

    private static FhirPackage OfManifest(string file, byte[] json)
    {
        try
        {
            using var manifest = JsonDocument.Parse(json);
            var root = manifest.RootElement;
            var package = new FhirPackage(file, Text(root, "name"), Text(root, "version"));
            var versions = List(root, "fhirVersions").Concat(List(root, "fhir-version-list")).ToList();
            if (versions.Count > 0 && !versions.Exists(v => v.StartsWith("4.0", StringComparison.Ordinal)))
                throw new PackageUnusableException($"The package {file} is for FHIR {string.Join(", ", versions)}; this service is FHIR R4 (4.0.1). Put the R4 edition of it in its place.");
            return package;
        }
        catch (Exception e) when (e is JsonException or InvalidOperationException or FormatException)
        {
            throw new PackageUnusableException($"{file}: package/package.json cannot be read as the manifest of a package: {e.Message}", e);
        }
    }

    private static string Text(JsonElement root, string name) =>
        root.TryGetProperty(name, out var value) && value.GetString() is { Length: > 0 and <= 200 } text && !text.AsSpan().ContainsAny('\r', '\n')
            ? text
            : throw new FormatException($"it needs a {name} of 1 to 200 characters.");

    private static List<string> List(JsonElement root, string name) =>
        root.TryGetProperty(name, out var list) ? list.EnumerateArray().Select(v => v.GetString() ?? "").ToList() : [];

    // Most files of a package are examples and pages; only the definitions among them are worth reading whole.
    private static string? TypeOf(string file, string name, byte[] json)
    {
        var reader = new Utf8JsonReader(json);
        try
        {
            while (reader.Read())
            {
                if (reader.TokenType != JsonTokenType.PropertyName)
                    continue;
                var isType = reader.ValueTextEquals("resourceType"u8);
                reader.Read();
                if (isType)
                    return reader.TokenType == JsonTokenType.String ? reader.GetString() : null;
                reader.Skip();
            }

            return null;
        }
        catch (Exception e) when (e is JsonException or InvalidOperationException)
        {
            throw new PackageUnusableException($"{file}: package/{name} is not JSON: {e.Message} Fetch the package again.", e);
        }
    }

    private void Add(string name, byte[] json, PackageLimits limits)
    {
        IConformanceResource definition;
        try
        {
            definition = (IConformanceResource)ResourceReader.Definition(json, Limits);
        }
        catch (RefusedException e)
        {
            LeftOut.Add(new(Label, name, $"it is not sound FHIR R4: {string.Join("; ", e.Issues.Take(3).Select(i => $"{i.Expression}: {i.Message}"))}"));
            return;
        }

        if (string.IsNullOrEmpty(definition.Url))
            LeftOut.Add(new(Label, name, "it has no url."));
        else if (Unfit(definition, limits) is { } reason)
            LeftOut.Add(new(Label, definition.Url, reason));
        else
            Definitions.Add(definition);
    }

    private static string? Unfit(IConformanceResource definition, PackageLimits limits)
    {
        if (definition is not StructureDefinition structure)
            return null;
        if (structure.Kind == StructureDefinition.StructureDefinitionKind.Logical || structure.Derivation != StructureDefinition.TypeDerivationRule.Constraint)
            return "it defines a new type; profiles and extensions of the types of R4 are used.";
        if (structure.FhirVersion is { } version && version is not (FHIRVersion.N4_0 or FHIRVersion.N4_0_0 or FHIRVersion.N4_0_1))
            return "it is for another version of FHIR than R4.";
        foreach (var element in (structure.Differential?.Element ?? []).Concat(structure.Snapshot?.Element ?? []))
        {
            if ((element.Path ?? "").Count(c => c == '.') > limits.MaxPathDepth || (element.ElementId ?? "").Count(c => c == '.') > limits.MaxPathDepth)
                return $"an element of it lies deeper than {limits.MaxPathDepth} levels.";
            foreach (var constraint in element.Constraint)
            {
                if (ExpressionProblem(constraint.Expression) is { } problem)
                    return $"the rule {constraint.Key} cannot be used: {problem}";
            }
        }

        return null;
    }

    private static string? ExpressionProblem(string? expression)
    {
        if (expression is null)
            return null;
        if (ExpressionLimits.Problem(expression) is { } problem)
            return problem;
        try
        {
            new Hl7.FhirPath.FhirPathCompiler().Parse(expression);
            return null;
        }
#pragma warning disable CA1031 // The parser throws exceptions of several kinds at a text that is no FHIRPath.
        catch (Exception e)
#pragma warning restore CA1031
        {
            return e.Message;
        }
    }
}
