using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Tests.Fhir.Parsing;

/// <summary>Bodies made to harm: each is refused within bounds, and the process lives on.</summary>
public class HostileBodyTests
{
    private const string Xml = "<Patient xmlns=\"http://hl7.org/fhir\">";

    public static TheoryData<string, FhirFormat, string, Refusal> Bodies => new()
    {
        { "JSON nested 8,000 deep in extensions", FhirFormat.Json, NestedJson(8000), Refusal.Malformed },
        { "JSON nested 8,000 deep in arrays", FhirFormat.Json, "{\"resourceType\":\"Patient\",\"name\":" + new string('[', 8000) + new string(']', 8000) + "}", Refusal.Malformed },
        { "JSON nested 8,000 deep and cut off", FhirFormat.Json, string.Concat(Enumerable.Repeat("{\"a\":", 8000)), Refusal.Malformed },
        { "XML nested 8,000 deep in extensions", FhirFormat.Xml, Xml + Repeat("<extension url=\"a\">", 8000) + Repeat("</extension>", 8000) + "</Patient>", Refusal.Malformed },
        { "XML nested 8,000 deep in the narrative", FhirFormat.Xml, Xml + "<text><status value=\"generated\"/><div xmlns=\"http://www.w3.org/1999/xhtml\">" + Repeat("<b>", 8000) + Repeat("</b>", 8000) + "</div></text></Patient>", Refusal.Malformed },
        { "JSON narrative nested 8,000 deep", FhirFormat.Json, "{\"resourceType\":\"Patient\",\"text\":{\"status\":\"generated\",\"div\":\"<div xmlns=\\\"http://www.w3.org/1999/xhtml\\\">" + Repeat("<b>", 8000) + "x" + Repeat("</b>", 8000) + "</div>\"}}", Refusal.Malformed },
        { "600 KB of empty objects", FhirFormat.Json, "{\"resourceType\":\"Patient\",\"name\":[" + string.Join(',', Enumerable.Repeat("{}", 200_000)) + "]}", Refusal.Malformed },
        { "600 KB of empty objects in many arrays", FhirFormat.Json, "{\"resourceType\":\"Patient\",\"contact\":[" + string.Join(',', Enumerable.Repeat("{\"telecom\":[" + string.Join(',', Enumerable.Repeat("{}", 500)) + "]}", 400)) + "]}", Refusal.Malformed },
        { "600 KB of tiny unknown elements", FhirFormat.Json, "{\"resourceType\":\"Patient\",\"contact\":[" + string.Join(',', Enumerable.Repeat("{\"telecom\":[" + string.Join(',', Enumerable.Repeat("{\"x\":1}", 500)) + "]}", 150)) + "]}", Refusal.TooLarge },
        { "an object of 50,000 unknown properties", FhirFormat.Json, "{\"resourceType\":\"Patient\"," + string.Join(',', Enumerable.Range(0, 50_000).Select(i => $"\"a{i}\":1")) + "}", Refusal.TooLarge },
        { "600 KB of empty XML elements", FhirFormat.Xml, Xml + Repeat("<name/>", 86_000) + "</Patient>", Refusal.TooLarge },
        { "an XML entity bomb", FhirFormat.Xml, "<!DOCTYPE l [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\"><!ENTITY c \"&b;&b;&b;&b;&b;&b;&b;&b;\">]>" + Xml + "<id value=\"&c;\"/></Patient>", Refusal.Malformed },
        { "an XML external entity", FhirFormat.Xml, "<!DOCTYPE l [<!ENTITY x SYSTEM \"file:///etc/passwd\">]>" + Xml + "<name><text value=\"&x;\"/></name></Patient>", Refusal.Malformed },
        { "an undeclared HTML entity in XML", FhirFormat.Xml, Xml + "<name><text value=\"&nbsp;\"/></name></Patient>", Refusal.Malformed },
        { "a body over the limit", FhirFormat.Json, "{\"resourceType\":\"Patient\",\"language\":\"" + new string('a', 11 * 1024 * 1024) + "\"}", Refusal.TooLarge },
    };

    [Theory]
    [MemberData(nameof(Bodies))]
    public void Is_refused_within_bounds(string name, FhirFormat format, string body, Refusal expected)
    {
        var bytes = Encoding.UTF8.GetBytes(body);
        RefusedException? refused = null;
        long allocated = 0;
        Exception? other = null;
        // A small stack: what overflows it would end the test run, as it would end the service.
        var thread = new Thread(() =>
        {
            try
            {
                var before = GC.GetAllocatedBytesForCurrentThread();
                refused = Assert.Throws<RefusedException>(() => ResourceReader.Read(bytes, format));
                allocated = GC.GetAllocatedBytesForCurrentThread() - before;
            }
#pragma warning disable CA1031 // Carried to the test's own thread.
            catch (Exception e)
#pragma warning restore CA1031
            {
                other = e;
            }
        }, 256 * 1024);
        thread.Start();
        Assert.True(thread.Join(TimeSpan.FromSeconds(20)), name + " took more than 20 s");
        Assert.True(other is null, $"{name}: {other}");
        Assert.Equal(expected, refused!.Refusal);
        Assert.InRange(refused.Issues.Count, 1, 101);
        Assert.InRange(allocated, 0, 50_000_000);
    }

    [Fact]
    public void Problems_are_listed_up_to_the_limit_and_then_summed_up()
    {
        var body = "{\"resourceType\":\"Patient\",\"contact\":[" + string.Join(',', Enumerable.Repeat("{\"gender\":\"no-such-gender-at-all\"}", 300)) + "]}";
        var refused = Assert.Throws<RefusedException>(() => ResourceReader.Read(Encoding.UTF8.GetBytes(body), FhirFormat.Json));
        Assert.Equal(101, refused.Issues.Count);
        Assert.Equal(OperationOutcome.IssueType.TooCostly, refused.Issues[^1].Code);
    }

    [Theory]
    [InlineData("'a' + 'b'", false)]
    [InlineData("OPEN2000", true)]
    [InlineData("LONG", true)]
    public void A_fhirpath_from_outside_is_limited(string expression, bool refused)
    {
        var text = expression switch { "OPEN2000" => new string('(', 900) + "true" + new string(')', 900), "LONG" => new string('a', 2001), _ => expression };
        Assert.Equal(refused, ExpressionLimits.Problem(text) is not null);
    }

    private static string Repeat(string text, int times) => new StringBuilder().Insert(0, text, times).ToString();

    private static string NestedJson(int depth) =>
        "{\"resourceType\":\"Patient\",\"extension\":" + Repeat("[{\"url\":\"a\",\"extension\":", depth) + "[]" + Repeat("}]", depth) + "}";
}
