using System.Text.Json;
using System.Text.Json.Serialization;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http;
using RehabRecords.Fhir;
using RehabRecords.Host;

namespace RehabRecords.Tests.Rest;

/// <summary>The one table from what went wrong to a status and a sentence.</summary>
public class FailureTests
{
    [Fact]
    public void Every_kind_of_refusal_has_a_status_of_its_own_kind()
    {
        foreach (var refusal in Enum.GetValues<Refusal>())
            Assert.InRange(Failure.StatusOf(refusal), 400, 503);
        Assert.Equal(
            [400, 422, 413, 404, 410, 405, 409, 412, 412, 422, 503, 429, 428, 415, 406, 500, 403],
            Enum.GetValues<Refusal>().Select(Failure.StatusOf));
    }

    [Fact]
    public void An_unforeseen_failure_says_nothing_of_its_inside()
    {
        var context = new DefaultHttpContext { TraceIdentifier = "request-7" };
        var failure = Failure.Of(new InvalidOperationException("SELECT * FROM secrets"), context);
        Assert.Equal(500, failure.Status);
        Assert.DoesNotContain("secrets", failure.Issues.Single().Message, StringComparison.Ordinal);
        Assert.Contains("request-7", failure.Issues.Single().Message, StringComparison.Ordinal);
        Assert.Equal(OperationOutcome.IssueType.Exception, failure.Issues.Single().Code);
    }

    [Theory]
    [InlineData("Required parameter \"string person\" was not provided from query string.", "person", "missing from the query string")]
    [InlineData("Required parameter \"SessionRequest body\" was not provided from body.", "", "needs a body")]
    [InlineData("Failed to bind parameter \"Nullable<int> limit\" from \"many\".", "limit", "'many'")]
    [InlineData("Something about Microsoft.AspNetCore.Internals.", "", "could not be read")]
    public void A_parameter_that_cannot_be_bound_is_told_by_name(string message, string field, string says)
    {
        var issue = Failure.Of(new BadHttpRequestException(message, 400), new DefaultHttpContext()).Issues.Single();
        Assert.Equal(field, issue.Expression);
        Assert.Contains(says, issue.Message, StringComparison.Ordinal);
        Assert.DoesNotContain("SessionRequest", issue.Message, StringComparison.Ordinal);
        Assert.DoesNotContain("Internals", issue.Message, StringComparison.Ordinal);
    }

    private sealed record Asked(string Name, int Repetitions, Part[]? Parts, Hand? Side);

    private sealed record Part(string Code);

    private enum Hand
    {
        Left,
        Right,
    }

    private static readonly JsonSerializerOptions Strict = new(JsonSerializerDefaults.Web)
    {
        PropertyNameCaseInsensitive = false,
        UnmappedMemberHandling = JsonUnmappedMemberHandling.Disallow,
        NumberHandling = JsonNumberHandling.Strict,
        AllowDuplicateProperties = false,
        Converters = { new JsonStringEnumConverter(JsonNamingPolicy.KebabCaseLower, allowIntegerValues: false) },
    };

    [Theory]
    [InlineData("""{"name":"a","repetitions":"ten"}""", "repetitions", "kind")]
    [InlineData("""{"name":"a","repetitions":1.5}""", "repetitions", "kind")]
    [InlineData("""{"name":"a","repetitions":99999999999}""", "repetitions", "kind")]
    [InlineData("""{"name":"a","reps":3}""", "reps", "not a field")]
    [InlineData("""{"parts":[{"code":"a"},{"kode":"b"}]}""", "kode", "not a field")]
    [InlineData("""{"parts":[{"code":"a"},{"code":2}]}""", "parts[1].code", "kind")]
    [InlineData("""{"side":"middle"}""", "side", "allowed words")]
    [InlineData("""{"side":1}""", "side", "allowed words")]
    [InlineData("""{"name":"a","name":"b"}""", "name", "well-formed")]
    [InlineData("""{"name":"a",}""", "", "well-formed")]
    [InlineData("""{"name":"a" """, "", "well-formed")]
    [InlineData("""hello""", "", "well-formed")]
    [InlineData("", "", "well-formed")]
    public void A_body_of_api_that_cannot_be_read_is_told_by_field(string body, string field, string says)
    {
        var json = Assert.ThrowsAny<JsonException>(() => JsonSerializer.Deserialize<Asked>(body, Strict));
        var failure = Failure.Of(new BadHttpRequestException("Failed to read parameter", 400, json), new DefaultHttpContext());
        Assert.Equal(400, failure.Status);
        var issue = failure.Issues.Single();
        Assert.EndsWith(field, issue.Expression, StringComparison.Ordinal);
        Assert.Contains(says, issue.Message, StringComparison.Ordinal);
        Assert.DoesNotContain("RehabRecords", issue.Message, StringComparison.Ordinal);
        Assert.DoesNotContain("System.", issue.Message, StringComparison.Ordinal);
    }
}
