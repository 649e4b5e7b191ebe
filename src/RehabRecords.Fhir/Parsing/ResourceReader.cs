using System.Text.Json;
using System.Xml;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Hl7.Fhir.Utility;
using Hl7.Fhir.Validation;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Fhir.Parsing;

/// <summary>
/// The one way by which bytes become resources. <see cref="Read"/> is for everything that comes from outside: it is
/// bounded in time and memory, refuses whatever would be stored otherwise than sent, and reports every problem at once.
/// </summary>
public static class ResourceReader
{
    // The library's own look at narrative recurses and would overflow the stack on a deep one; see RefuseUnsafeNarrative.
    private static readonly DeserializerSettings Guarded =
        new DeserializerSettings { AnnotateLineInfo = false, DisallowXsiAttributesOnRoot = true }
            .UsingMode(DeserializationMode.Strict, NarrativeValidationKind.None);

    private static readonly FhirJsonDeserializer GuardedJson = new(Guarded);
    private static readonly FhirXmlDeserializer GuardedXml = new(Guarded);
    private static readonly FhirJsonDeserializer TrustedJson = FhirJsonDeserializer.SYNTAXONLY;

    /// <summary>Reads a body from outside.</summary>
    /// <exception cref="RefusedException">Malformed with all problems found, Invalid for unsafe narrative, or TooLarge for what is over a limit.</exception>
    public static Resource Read(ReadOnlyMemory<byte> body, FhirFormat format, ReadLimits? limits = null)
    {
        limits ??= ReadLimits.Default;
        if (body.Length == 0)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Required, "The body is empty. Send one FHIR resource.");
        if (body.Length > limits.MaxBytes)
        {
            throw new RefusedException(
                Refusal.TooLarge, OperationOutcome.IssueType.TooLong, $"The body has {body.Length} bytes; at most {limits.MaxBytes} are accepted. Send it in parts.");
        }

        try
        {
            var resource = format == FhirFormat.Json ? ReadJson(body.Span, limits) : ReadXml(body, limits);
            RefuseUnsafeNarrative(resource);
            return resource;
        }
#pragma warning disable CA1031 // The FHIR library throws exceptions of many kinds at bodies it did not foresee; none of them is a fault of ours.
        catch (Exception e) when (e is not (RefusedException or OutOfMemoryException))
#pragma warning restore CA1031
        {
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, "The body cannot be read as a FHIR resource: " + e.Message);
        }
    }

    /// <summary>
    /// Reads a definition of a package. Its narrative, which is never kept, may be anything; the rest is read as a body is.
    /// </summary>
    /// <exception cref="RefusedException">Malformed with all problems found, or TooLarge for what is over a limit.</exception>
    public static Resource Definition(ReadOnlyMemory<byte> json, ReadLimits limits)
    {
        try
        {
            return ReadJson(json.Span, limits);
        }
#pragma warning disable CA1031 // As in Read.
        catch (Exception e) when (e is not (RefusedException or OutOfMemoryException))
#pragma warning restore CA1031
        {
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, "It cannot be read as a FHIR resource: " + e.Message);
        }
    }

    /// <summary>Reads bytes that this program wrote itself, about three times as fast as <see cref="Read"/>.</summary>
    /// <exception cref="InvalidDataException">The bytes are not such a resource: the store is damaged.</exception>
    public static T Trusted<T>(ReadOnlyMemory<byte> json)
        where T : Resource
    {
        var reader = new Utf8JsonReader(json.Span);
        try
        {
            TrustedJson.TryDeserializeResource(ref reader, out var resource, out var issues);
            return resource as T
                ?? throw new InvalidDataException($"Stored bytes are no {typeof(T).Name}: {issues.FirstOrDefault()?.Message ?? resource?.TypeName}");
        }
        catch (JsonException e)
        {
            throw new InvalidDataException("Stored bytes are not JSON.", e);
        }
    }

    private static Resource ReadJson(ReadOnlySpan<byte> body, ReadLimits limits)
    {
        if (body.StartsWith("\uFEFF"u8))
            body = body[3..];
        JsonPreScan.Check(body, limits);
        var reader = new Utf8JsonReader(body, new JsonReaderOptions { MaxDepth = limits.MaxDepth });
        try
        {
            GuardedJson.TryDeserializeResource(ref reader, out var resource, out var issues);
            return Accepted(resource, issues, limits);
        }
        catch (JsonException e)
        {
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, "The body is not JSON: " + e.Message);
        }
    }

    private static Resource ReadXml(ReadOnlyMemory<byte> body, ReadLimits limits)
    {
        var numbers = XmlPreScan.Check(body, limits);
        using var reader = XmlReader.Create(XmlPreScan.Open(body), XmlPreScan.Settings);
        Resource resource;
        try
        {
            GuardedXml.TryDeserializeResource(reader, out var read, out var issues);
            resource = Accepted(read, issues, limits);
        }
        catch (XmlException e)
        {
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, "The body is not XML as FHIR uses it: " + e.Message);
        }
        catch (NotSupportedException)
        {
            // The library gives up on elements inside a primitive value; the reader still stands where it did.
            throw new RefusedException(
                Refusal.Malformed,
                OperationOutcome.IssueType.Structure,
                $"The element {reader.LocalName} on line {((IXmlLineInfo)reader).LineNumber} has content that it cannot have.");
        }

        if (numbers.Count > 0)
            RefuseChangedNumbers(resource, numbers, limits);
        return resource;
    }

    private static void RefuseUnsafeNarrative(Resource resource)
    {
        var problems = ResourceView.Of(resource).All<Narrative>()
            .Where(n => n.Value.Div is not null)
            .SelectMany(n => SafeNarrative.Problems(n.Value.Div!).Select(p => p.At(n.At.Path + ".div")))
            .ToList();
        if (Verdict.Of(problems) is { } refused)
            throw refused;
    }

    // XML does not tell a number from a text that looks like one; writing the resource out again does.
    private static void RefuseChangedNumbers(Resource resource, IReadOnlyList<(string Path, string Value)> before, ReadLimits limits)
    {
        var after = XmlPreScan.Check(ResourceWriter.Xml(resource), limits).Select(n => n.Value).ToHashSet(StringComparer.Ordinal);
        var changed = before.Where(n => !after.Contains(n.Value))
            .Select(n => Issue.Error(OperationOutcome.IssueType.Value, JsonNumber.WhyItWouldChange(n.Value)!, n.Path)).ToList();
        if (changed.Count > 0)
            throw new RefusedException(Refusal.Malformed, changed);
    }

    private static Resource Accepted(Resource? resource, IEnumerable<CodedException> found, ReadLimits limits)
    {
        var issues = found.Take(limits.MaxIssues + 1).Select(p => ParseProblem.ToIssue(p, resource?.TypeName)).ToList();
        if (issues.Count > limits.MaxIssues)
        {
            issues[limits.MaxIssues] = Issue.Error(
                OperationOutcome.IssueType.TooCostly, $"There are more problems than the {limits.MaxIssues} listed. Correct these and send again.");
        }

        if (issues.Any(i => i.Refuses))
            throw new RefusedException(Refusal.Malformed, issues);
        return resource ?? throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, "The body holds no resource.");
    }
}
