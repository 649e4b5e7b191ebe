using System.Net;
using System.Text;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>Whatever is posted to the FHIR face: a clear refusal, nothing stored, and the service goes on.</summary>
public sealed class BadInputTests(TestApp app) : IClassFixture<TestApp>
{
    public static TheoryData<string, int> Bad => new()
    {
        { "truncated JSON", 400 },
        { "not JSON at all", 400 },
        { "nothing", 400 },
        { "a JSON array", 400 },
        { "JSON nested 8,000 deep", 400 },
        { "XML nested 8,000 deep", 400 },
        { "XML with an external entity", 400 },
        { "XML with entities of entities", 400 },
        { "XML in JSON's clothes", 400 },
        { "600 KB of empty objects", 400 },
        { "a 33-digit decimal", 400 },
        { "a number in exponents", 400 },
        { "a NUL in a string", 400 },
        { "a lone surrogate", 400 },
        { "a comment in JSON", 400 },
        { "a field given twice", 400 },
        { "bytes that are not UTF-8", 400 },
        { "a name that is not UTF-8", 400 },
        { "a name with a lone surrogate", 400 },
        { "a nested name with a lone surrogate", 400 },
        { "an unknown resource type", 400 },
        { "an unknown element", 400 },
        { "an impossible date", 400 },
        { "a required element left out", 400 },
        { "a code that is not of its list", 400 },
        { "a reference to nothing", 422 },
        { "a reference to the wrong type", 400 },
        { "an unknown extension", 422 },
        { "an unknown profile", 422 },
        { "narrative with script", 400 },
        { "narrative with a script link", 422 },
        { "a unit that is none", 400 },
    };

    [Theory]
    [MemberData(nameof(Bad))]
    public async Task Bad_input_is_refused_and_stores_nothing(string what, int status)
    {
        var (path, type, body) = What(what);
        var before = app.State();
        using var request = new HttpRequestMessage(HttpMethod.Post, path) { Content = new ByteArrayContent(body) };
        request.Content.Headers.TryAddWithoutValidation("Content-Type", type);
        using var response = await app.Http.SendAsync(request);
        await response.RefusedAsync(status);
        Assert.Equal(before, app.State());
        await app.GetAsync("/health/ready");
    }

    [Fact]
    public async Task A_50_MB_body_is_refused_before_it_is_sent()
    {
        var before = app.State();
        var content = new ByteArrayContent(Encoding.UTF8.GetBytes(new string(' ', 50_000_000)));
        content.Headers.TryAddWithoutValidation("Content-Type", Json);
        foreach (var path in new[] { "/fhir/Patient", "/fhir" })
        {
            using var request = new HttpRequestMessage(HttpMethod.Post, path) { Content = content, Headers = { ExpectContinue = true } };
            using var response = await app.Http.SendAsync(request);
            await response.RefusedAsync(413, "limit");
            request.Content = null; // the content is sent again
        }
        Assert.Equal(before, app.State());
        await app.GetAsync("/health/ready");
    }

    [Theory]
    [InlineData("/Patient", 1_000_001, HttpStatusCode.RequestEntityTooLarge)]
    [InlineData("", 1_000_001, HttpStatusCode.OK)]
    [InlineData("", 10_000_001, HttpStatusCode.RequestEntityTooLarge)]
    public async Task A_single_resource_may_have_1_MB_and_a_bundle_10(string path, int bytes, HttpStatusCode status)
    {
        // Sent in chunks, so that no length is claimed and the limit is met while reading.
        var start = path.Length == 0 ? """{"resourceType":"Bundle","type":"batch" """ : """{"resourceType":"Patient" """;
        using var request = new HttpRequestMessage(HttpMethod.Post, "/fhir" + path)
        {
            Content = new ByteArrayContent(Encoding.UTF8.GetBytes(start + new string(' ', bytes - start.Length - 1) + "}")),
            Headers = { TransferEncodingChunked = true, ExpectContinue = true },
        };
        request.Content.Headers.TryAddWithoutValidation("Content-Type", Json);
        using var response = await app.Http.SendAsync(request);
        Assert.Equal(status, response.StatusCode);
    }

    private static (string Path, string Type, byte[] Body) What(string what)
    {
        const string patient = "/fhir/Patient", observation = "/fhir/Observation";
        return what switch
        {
            "truncated JSON" => (patient, Json, Utf8(Person()[..40])),
            "not JSON at all" => (patient, Json, Utf8("Dear Sir or Madam")),
            "nothing" => (patient, Json, []),
            "a JSON array" => (patient, Json, Utf8($"[{Person()}]")),
            "JSON nested 8,000 deep" => (patient, Json, Utf8(Nest(8000, """{"extension":[{"url":"http://a.test","extension":[""", "]}]}", """{"resourceType":"Patient","extension":[""", "]}"))),
            "XML nested 8,000 deep" => (patient, Xml, Utf8(Nest(8000, "<extension url=\"http://a.test\">", "</extension>", "<Patient xmlns=\"http://hl7.org/fhir\">", "</Patient>"))),
            "XML with an external entity" => (patient, Xml, Utf8("""<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><Patient xmlns="http://hl7.org/fhir"><name><family value="&e;"/></name></Patient>""")),
            "XML with entities of entities" => (patient, Xml, Utf8("""<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]><Patient xmlns="http://hl7.org/fhir"><name><family value="&b;"/></name></Patient>""")),
            "XML in JSON's clothes" => (patient, Json, Utf8("""<Patient xmlns="http://hl7.org/fhir"/>""")),
            "600 KB of empty objects" => (patient, Json, Utf8($$"""{"resourceType":"Patient","name":[{{string.Join(",", Enumerable.Repeat("{}", 200_000))}}]}""")),
            "a 33-digit decimal" => (observation, Json, Utf8(WithValue("123456789012345678901234567890.123"))),
            "a number in exponents" => (observation, Json, Utf8(WithValue("1e3"))),
            "a NUL in a string" => (patient, Json, Utf8("""{"resourceType":"Patient","name":[{"family":"a\u0000b"}]}""")),
            "a lone surrogate" => (patient, Json, Utf8("""{"resourceType":"Patient","name":[{"family":"a\ud800b"}]}""")),
            "a comment in JSON" => (patient, Json, Utf8("""{"resourceType":"Patient" /* hello */}""")),
            "a field given twice" => (patient, Json, Utf8("""{"resourceType":"Patient","active":true,"active":false}""")),
            "bytes that are not UTF-8" => (patient, Json, [.. Utf8("""{"resourceType":"Patient","name":[{"family":" """), 0xC3, 0x28, 0xFF, .. Utf8("\"}]}")]),
            "a name that is not UTF-8" => (patient, Json, [.. Utf8("""{"resourceType":"Patient","na"""), 0xAC, .. Utf8("""me":[]}""")]),
            "a name with a lone surrogate" => (patient, Json, Utf8("""{"resourceType":"Patient","a\ud800b":[{"family":"x"}]}""")),
            "a nested name with a lone surrogate" => (patient, Json, Utf8("""{"resourceType":"Patient","name":[{"a\ud800b":"x","family":"x"}]}""")),
            "an unknown resource type" => (patient, Json, Utf8("""{"resourceType":"Wizard"}""")),
            "an unknown element" => (patient, Json, Utf8("""{"resourceType":"Patient","shoeSize":9}""")),
            "an impossible date" => (patient, Json, Utf8("""{"resourceType":"Patient","birthDate":"1950-02-30"}""")),
            "a required element left out" => (observation, Json, Utf8("""{"resourceType":"Observation","status":"final"}""")),
            "a code that is not of its list" => (observation, Json, Utf8("""{"resourceType":"Observation","status":"finished","code":{"text":"x"}}""")),
            "a reference to nothing" => (observation, Json, Utf8(Weight("Patient/nobody"))),
            "a reference to the wrong type" => (observation, Json, Utf8(Weight("Observation/nobody"))),
            "an unknown extension" => (patient, Json, Utf8("""{"resourceType":"Patient","extension":[{"url":"https://elsewhere.test/unheard","valueString":"x"}]}""")),
            "an unknown profile" => (patient, Json, Utf8("""{"resourceType":"Patient","meta":{"profile":["https://elsewhere.test/unheard"]},"active":true}""")),
            "narrative with script" => (patient, Json, Utf8(WithNarrative("<script>alert(1)</script>"))),
            "narrative with a script link" => (patient, Json, Utf8(WithNarrative("""<a href=\"javascript:alert(1)\">x</a>"""))),
            "a unit that is none" => (observation, Json, Utf8("""{"resourceType":"Observation","status":"final","code":{"text":"x"},"valueQuantity":{"value":1,"system":"http://unitsofmeasure.org","code":"florps"}}""")),
            _ => throw new ArgumentOutOfRangeException(nameof(what)),
        };
    }

    private static byte[] Utf8(string text) => Encoding.UTF8.GetBytes(text);

    private static string Nest(int depth, string open, string close, string before, string after) =>
        new StringBuilder(before).Insert(before.Length, open, depth).Append(new StringBuilder().Insert(0, close, depth)).Append(after).ToString();

    private static string WithValue(string number) =>
        $$$"""{"resourceType":"Observation","status":"final","code":{"text":"x"},"valueQuantity":{"value":{{{number}}},"unit":"kg"}}""";

    private static string WithNarrative(string inside) =>
        $$$"""{"resourceType":"Patient","text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\">{{{inside}}}</div>"}}""";
}
