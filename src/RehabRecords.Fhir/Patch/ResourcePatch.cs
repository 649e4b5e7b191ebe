using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Patch;

/// <summary>A change said as operations on the resource as it stands. What it makes is then checked like any other body.</summary>
public abstract class ResourcePatch
{
    public const string JsonPatchType = "application/json-patch+json";

    /// <summary>More operations than this are refused before anything is done.</summary>
    public const int Most = 500;

    /// <summary>The patch in the body of a request or the entry of a Bundle: Parameters, or a JSON Patch in a Binary.</summary>
    /// <param name="path">Where the body stands, in front of every expression of an error.</param>
    /// <exception cref="RefusedException">Malformed or TooLarge when it is no patch; UnknownFormat for a patch of another kind.</exception>
    public static ResourcePatch Of(Resource body, string path) => body switch
    {
        Parameters parameters => FhirPathPatch.Of(parameters, path),
        Binary { ContentType: { } type, Data: { Length: > 0 } data } when type.Split(';')[0].Trim().Equals(JsonPatchType, StringComparison.OrdinalIgnoreCase) => JsonPatch.Parse(data, path + ".data"),
        Binary binary => throw new RefusedException(Refusal.UnknownFormat, OperationOutcome.IssueType.NotSupported,
            $"The Binary is of type '{binary.ContentType}' with {binary.Data?.Length ?? 0} bytes. A JSON Patch is a Binary of type {JsonPatchType} that holds it; a FHIRPath Patch is a Parameters resource.", path + ".contentType"),
        _ => throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid,
            $"A {body.TypeName} is no patch. Send a FHIRPath Patch as Parameters, or a JSON Patch as {JsonPatchType} (in a Bundle: a Binary of that type).", path),
    };

    /// <summary>A JSON Patch as it is sent by itself.</summary>
    public static ResourcePatch OfJson(ReadOnlyMemory<byte> body) => JsonPatch.Parse(body.Span, "");

    /// <summary>The resource after the patch; the stored one is left as it is.</summary>
    /// <exception cref="RefusedException">Invalid when an operation cannot be done or leaves the narrative behind; Malformed when the result is not FHIR.</exception>
    public Resource ApplyTo(RecordVersion current)
    {
        ArgumentNullException.ThrowIfNull(current);
        var before = ResourceReader.Trusted<Resource>(current.Json);
        var after = Apply(current.Json);
        if (after.TypeName != current.Type || after.Id != current.Id)
            throw Impossible($"The patch makes {current.Address} into {after.TypeName}/{after.Id}. Type and id of a resource never change; leave them out of the patch.", current.Type + ".id");
        NarrativeAfterPatch.Require(before, after);
        return after;
    }

    /// <summary>The operations carried out on a stored resource, without the rules of the record.</summary>
    internal abstract Resource Apply(ReadOnlyMemory<byte> json);

    private protected static RefusedException Malformed(string message, string expression, OperationOutcome.IssueType code = OperationOutcome.IssueType.Invalid) =>
        new(Refusal.Malformed, code, message, expression);

    private protected static RefusedException Impossible(string message, string expression) =>
        new(Refusal.Invalid, OperationOutcome.IssueType.Processing, message, expression);

    private protected static void RefuseTooMany(int count, string expression)
    {
        if (count > Most)
            throw new RefusedException(Refusal.TooLarge, OperationOutcome.IssueType.TooCostly, $"The patch has {count} operations; at most {Most} are taken at once. Send the whole resource with PUT.", expression);
    }
}
