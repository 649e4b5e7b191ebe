using System.ComponentModel.DataAnnotations;
using System.Text;
using RehabRecords.Fhir;
using RehabRecords.Sessions;
using RehabRecords.Trade;

namespace RehabRecords.Tests.Trade;

/// <summary>Bodies that cannot be read: what is said of each.</summary>
public class BodyTextTests
{
    [Theory]
    [InlineData("", "", "The body is empty; send one JSON object")]
    [InlineData("{ \"person\": \"1\",", "", "not readable JSON (line 1")]
    [InlineData("[]", "", "The body is []; send one JSON object in { }")]
    [InlineData("null", "", "The body is null")]
    [InlineData("""{ "persn": "1" }""", "persn", "'persn' is not a field of this request. The fields here are: identifier, person, programme")]
    [InlineData("""{ "exercises": [{ "reps": 1 }] }""", "exercises[0].reps", "The fields here are: exercise, sets, repetitions")]
    [InlineData("""{ "Person": "1" }""", "Person", "'Person' is not a field")]
    [InlineData("""{ "person": "1", "person": "2" }""", "", "not readable JSON")]
    [InlineData("""{ "exercises": [{ "repetitions": "ten" }] }""", "exercises[0].repetitions", "exercises[0].repetitions is \"ten\"; send a whole number from 0 to 10000, without quotes")]
    [InlineData("""{ "exercises": [{ "repetitions": "10" }] }""", "exercises[0].repetitions", "is \"10\"; send a whole number from 0 to 10000")]
    [InlineData("""{ "exercises": [{ "repetitions": 1e9 }] }""", "exercises[0].repetitions", "is 1e9; send a whole number from 0 to 10000")]
    [InlineData("""{ "exercises": [{ "repetitions": 10.5 }] }""", "exercises[0].repetitions", "is 10.5; send a whole number")]
    [InlineData("""{ "exercises": [{ "repetitions": 99999999999 }] }""", "exercises[0].repetitions", "is 99999999999; send a whole number from 0 to 10000")]
    [InlineData("""{ "exercises": [{ "minutes": true }] }""", "exercises[0].minutes", "is true; send a number from 0 to 1440, without quotes")]
    [InlineData("""{ "exercises": {} }""", "exercises", "exercises is {}; send a list in [ ]")]
    [InlineData("""{ "exercises": [null] }""", "exercises[0]", "exercises[0] is null; leave the entry out of the list")]
    [InlineData("""{ "missed": "yes" }""", "missed", "missed is \"yes\"; send an object in { }")]
    [InlineData("""{ "missed": { "plannedFor": "01/06/2026" } }""", "missed.plannedFor", "send a date such as \"2026-06-01\"")]
    [InlineData("""{ "doneAt": "2026-06-01T09:00:00" }""", "doneAt", "send a date and time with its offset, such as")]
    [InlineData("""{ "doneAt": "2026-06-01" }""", "doneAt", "send a date and time with its offset")]
    [InlineData("""{ "doneAt": "2026-13-01T09:00:00Z" }""", "doneAt", "is \"2026-13-01T09:00:00Z\"")]
    [InlineData("""{ "person": 7 }""", "person", "person is 7; send a text in quotes")]
    [InlineData("{ \"remark\": \"a\\u0000b\" }", "remark", "remark holds the control character U+0000 at place 2")]
    [InlineData("{ \"exercises\": [{ \"skipped\": { \"note\": \"x\\u001b[31m\" } }] }", "exercises[0].skipped.note", "control character U+001B at place 2")]
    [InlineData("{ \"remark\": \"\\ud800\" }", "remark", "not valid UTF-8 text")]
    [InlineData("{ \"a\\ud800\": 1 }", "", "not valid UTF-8 text")]
    [InlineData("{ \"exercises\": [{}, { \"a\\ud800\": 1 }] }", "", "has a field whose name is not valid UTF-8 text")]
    [InlineData("{ \"]person\": \"x\" }", "]person", "is not a field of this request")]
    [InlineData("{ \"exercises\": [], \"exercises[0]\": 1 }", "exercises[0]", "is not a field of this request")]
    [InlineData("{ \"exercises\": [{ \"a b\": 1 }] }", "exercises[0].a b", "is not a field of this request. The fields here are: exercise,")]
    // The library's path can be read in two ways here; the refusal is right, the field nearly.
    [InlineData("{ \"a'].person\": 1 }", "a.person']", "is not a field of this request")]
    public void A_body_that_cannot_be_read_is_refused_with_field_value_and_remedy(string body, string field, string message)
    {
        var refused = Assert.Throws<RefusedException>(() => BodyText.Read<SessionRequest>(Encoding.UTF8.GetBytes(body)));
        Assert.Equal(Refusal.Malformed, refused.Refusal);
        Assert.Equal(field, refused.Issues[0].Expression);
        Assert.Contains(message, refused.Issues[0].Message, StringComparison.Ordinal);
    }

    [Fact]
    public void A_name_of_broken_bytes_is_refused()
    {
        byte[] body = [.. "{ \"missed\": { \"reas"u8, 0xAC, .. "on\": \"x\" } }"u8];
        Assert.Equal("missed", Assert.Throws<RefusedException>(() => BodyText.Read<SessionRequest>(body)).Issues[0].Expression);
    }

    [Fact]
    public void Nesting_beyond_any_request_is_refused()
    {
        var deep = Encoding.UTF8.GetBytes("{\"exercises\":" + new string('[', 8000) + new string(']', 8000) + "}");
        Assert.Contains("not readable JSON", Assert.Throws<RefusedException>(() => BodyText.Read<SessionRequest>(deep)).Message, StringComparison.Ordinal);
    }

    [Fact]
    public void Line_ends_and_tabs_are_part_of_what_people_type() =>
        Assert.Equal("one\r\n\ttwo", BodyText.Read<SessionRequest>("{ \"remark\": \"one\\r\\n\\ttwo\" }"u8.ToArray()).Remark);

    [Fact]
    public void A_time_keeps_the_offset_it_was_sent_with() =>
        Assert.Equal(TimeSpan.FromHours(1), BodyText.Read<SessionRequest>("{ \"doneAt\": \"2026-06-01T09:00:00.25+01:00\" }"u8.ToArray()).DoneAt!.Value.Offset);

    [Fact]
    public void Each_range_of_the_request_is_the_one_its_rule_holds()
    {
        // The attribute is what OpenAPI and the reading errors tell; SessionRules tells the rest.
        foreach (var property in typeof(ResultRequest).GetProperties())
            if (property.GetCustomAttributes(typeof(RangeAttribute), false) is [RangeAttribute range])
            {
                var above = System.Convert.ToDecimal(range.Maximum) + 1;
                var body = $$"""{ "exercise": "x", "{{char.ToLowerInvariant(property.Name[0])}}{{property.Name[1..]}}": {{above}} }""";
                var found = new ResultRules().Validate(BodyText.Read<ResultRequest>(Encoding.UTF8.GetBytes(body)));
                Assert.Contains(found.Errors, e => e.ErrorMessage.Contains($"from {range.Minimum} to {range.Maximum}", StringComparison.Ordinal));
            }
    }
}
