using Hl7.Fhir.Model;

namespace RehabRecords.Fhir;

/// <summary>Why a request was not carried out. The host maps each to one HTTP status, on both faces.</summary>
public enum Refusal
{
    /// <summary>The body is not readable FHIR or breaks a basic rule of R4 (400).</summary>
    Malformed,

    /// <summary>Readable, but against a profile or a rule of the record (422).</summary>
    Invalid,

    /// <summary>Over a stated limit of size or number (413).</summary>
    TooLarge,

    /// <summary>No such resource, or none the caller may know of (404).</summary>
    NotFound,

    /// <summary>The resource was deleted (410).</summary>
    Gone,

    /// <summary>The interaction is not offered for this type (405).</summary>
    NotAllowed,

    /// <summary>Another resource already holds what must be unique (409).</summary>
    Conflict,

    /// <summary>The version named by the caller is no longer the current one (412).</summary>
    StaleVersion,

    /// <summary>A condition matches more than one resource (412).</summary>
    Ambiguous,

    /// <summary>An idempotency key was used again with another body (422).</summary>
    KeyReused,

    /// <summary>The store cannot write at present; try again later (503).</summary>
    Unavailable,

    /// <summary>More was asked for at once than is taken (429).</summary>
    TooMany,

    /// <summary>A change of an existing resource does not say which version it was made from (428).</summary>
    VersionNotNamed,

    /// <summary>The body is in a format that is not read (415).</summary>
    UnknownFormat,

    /// <summary>The answer is wanted in a format that is not written (406).</summary>
    FormatNotOffered,

    /// <summary>What is stored is not what was stored once (500).</summary>
    Damaged,

    /// <summary>The person did not agree, or no longer agrees, to what is asked for (403).</summary>
    NotPermitted,
}

/// <summary>One thing wrong (or worth saying), in a plain sentence that names the remedy.</summary>
/// <param name="Severity">Error and fatal refuse the request; warning and information do not.</param>
/// <param name="Code">The FHIR issue type.</param>
/// <param name="Message">What is wrong, with the value and the remedy.</param>
/// <param name="Expression">FHIRPath of the element (or the field of an /api body); empty for the whole.</param>
/// <param name="Profile">Canonical of the profile that asked, where one did.</param>
public sealed record Issue(
    OperationOutcome.IssueSeverity Severity,
    OperationOutcome.IssueType Code,
    string Message,
    string Expression = "",
    string? Profile = null)
{
    public static Issue Error(OperationOutcome.IssueType code, string message, string expression = "", string? profile = null) =>
        new(OperationOutcome.IssueSeverity.Error, code, message, expression, profile);

    private const int Longest = 1500;

    public string Message { get; init => field = Bounded(value); } = Bounded(Message);

    /// <summary>Which write of a set it is about, counted from 0; null when it is about none or all of them.</summary>
    public int? Write { get; init; }

    public bool Refuses => Severity is OperationOutcome.IssueSeverity.Error or OperationOutcome.IssueSeverity.Fatal;

    /// <summary>A message may quote a whole value: the beginning says what is wrong, the end what to do.</summary>
    private static string Bounded(string message) =>
        message.Length <= Longest ? message : $"{message[..(Longest * 2 / 3)]} … {message[^(Longest / 4)..]}";
}

/// <summary>The one exception by which a request is refused; nothing was stored.</summary>
public sealed class RefusedException(Refusal refusal, IReadOnlyList<Issue> issues)
    : Exception(issues.Count > 0 ? issues[0].Message : refusal.ToString())
{
    public RefusedException(Refusal refusal, OperationOutcome.IssueType code, string message, string expression = "")
        : this(refusal, [Issue.Error(code, message, expression)])
    {
    }

    public Refusal Refusal { get; } = refusal;

    /// <summary>The version there is, where the one that was named, or was not, is the reason.</summary>
    public int? CurrentVersion { get; init; }

    public IReadOnlyList<Issue> Issues { get; } = issues;
}
