using System.Text.Json;
using System.Text.Json.Serialization;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;

namespace RehabRecords.Host;

/// <summary>How bodies of /api are read: strictly, so that a misspelt field is an error and not a value that was never given.</summary>
internal static partial class RequestBody
{
    public static void AddStrictJson(this IServiceCollection services)
    {
        // What cannot be bound is thrown, not answered with an empty 400, so that the one place for failures can say what it was.
        services.Configure<RouteHandlerOptions>(routes => routes.ThrowOnBadRequest = true);
        services.ConfigureHttpJsonOptions(http => MakeStrict(http.SerializerOptions));
    }

    private static void MakeStrict(JsonSerializerOptions json)
    {
        json.PropertyNamingPolicy = JsonNamingPolicy.CamelCase;
        json.PropertyNameCaseInsensitive = false;
        json.UnmappedMemberHandling = JsonUnmappedMemberHandling.Disallow;
        json.NumberHandling = JsonNumberHandling.Strict;
        json.AllowDuplicateProperties = false;
        json.AllowTrailingCommas = false;
        json.ReadCommentHandling = JsonCommentHandling.Disallow;
        json.MaxDepth = 64;
        json.DefaultIgnoreCondition = JsonIgnoreCondition.Never;
        json.Converters.Add(new JsonStringEnumConverter(JsonNamingPolicy.KebabCaseLower, allowIntegerValues: false));
    }

    /// <summary>What is wrong with a parameter of the path, query or headers; null when the framework's message is about something else.</summary>
    public static Issue? Problem(BadHttpRequestException bad)
    {
        if (MissingParameter().Match(bad.Message) is { Success: true } missing)
            return missing.Groups[2].Value.Contains("body", StringComparison.Ordinal)
                ? Issue.Error(OperationOutcome.IssueType.Required, "The request needs a body of JSON; /docs shows what it holds.")
                : Issue.Error(OperationOutcome.IssueType.Required, $"{missing.Groups[1].Value} is missing from the {missing.Groups[2].Value}. Give it; /docs shows how.", missing.Groups[1].Value);
        return UnreadableParameter().Match(bad.Message) is { Success: true } unreadable
            ? Issue.Error(OperationOutcome.IssueType.Value, $"{unreadable.Groups[1].Value} is '{unreadable.Groups[2].Value}', which is not of the expected kind; /docs shows what is.", unreadable.Groups[1].Value)
            : null;
    }

    /// <summary>Says what is wrong with a body without naming types of this program.</summary>
    public static Issue Problem(JsonException json)
    {
        var field = (json.Path ?? "").TrimStart('$').TrimStart('.');
        if (Unmapped().Match(json.Message) is { Success: true } unmapped)
        {
            var name = unmapped.Groups[1].Value;
            // The path of an unknown member is that member or what holds it, depending on where the reader noticed.
            var at = field.EndsWith(name, StringComparison.Ordinal) ? field : field.Length == 0 ? name : field + "." + name;
            return Issue.Error(OperationOutcome.IssueType.Structure, $"'{name}' is not a field of this request. Correct its spelling or leave it out; /docs lists the fields.", at);
        }
        if (Missing().Match(json.Message) is { Success: true } missing)
            return Issue.Error(OperationOutcome.IssueType.Required, $"Missing: {missing.Groups[1].Value.Trim().TrimEnd('.')}. /docs lists the required fields.", field);
        if (json.Message.Contains("could not be converted", StringComparison.Ordinal))
            return Issue.Error(OperationOutcome.IssueType.Value, $"The value of '{field}' is not of the expected kind or not one of the allowed words. Numbers are written without quotation marks; /docs lists kinds and words.", field);
        var place = json.LineNumber is { } line ? $" near line {line + 1}, byte {json.BytePositionInLine + 1}" : "";
        return Issue.Error(OperationOutcome.IssueType.Structure, $"The body is not well-formed JSON{place}: check for a missing end, comma or quotation mark, a field given twice, or more than 64 levels.", field);
    }

    [GeneratedRegex(@"^Required parameter ""[^""]*?(\w+)"" was not provided from ([^.]{1,40})\.")]
    private static partial Regex MissingParameter();

    [GeneratedRegex(@"^Failed to bind parameter ""[^""]*?(\w+)"" from ""(.{0,200})""\.$", RegexOptions.Singleline)]
    private static partial Regex UnreadableParameter();

    [GeneratedRegex(@"^The JSON property '([^']{1,100})' could not be mapped")]
    private static partial Regex Unmapped();

    [GeneratedRegex(@"missing required properties[^:]*: (.{1,300}?)(?: Path:|$)")]
    private static partial Regex Missing();
}
