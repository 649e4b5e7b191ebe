using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.Fhir.Parsing;

public class ResourceReaderTests
{
    [Theory]
    // What is wrong, the body, the element named, words of the message.
    [InlineData("truncated", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"A", "Patient.name[0].family", "not JSON")]
    [InlineData("empty", "", "", "empty")]
    [InlineData("no JSON", "hello", "", "not JSON")]
    [InlineData("an array", "[]", "", "one resource")]
    [InlineData("two resources", "{\"resourceType\":\"Patient\",\"active\":true}{}", "Patient", "nothing after the end")]
    [InlineData("a comment", "{\"resourceType\":\"Patient\",/* c */\"active\":true}", "Patient", "no comments")]
    [InlineData("a trailing comma", "{\"resourceType\":\"Patient\",\"active\":true,}", "Patient", "trailing")]
    [InlineData("a trailing comma in an array", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"A\"},]}", "Patient.name", "trailing")]
    [InlineData("a property twice", "{\"resourceType\":\"Patient\",\"active\":true,\"active\":false}", "Patient.active", "twice")]
    [InlineData("an inner property twice", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"A\",\"family\":\"B\"}]}", "Patient.name[0].family", "twice")]
    [InlineData("a name written with an escape", "{\"resourceType\":\"Patient\",\"\\u0061ctive\":true}", "Patient", "escape")]
    [InlineData("a blank text", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\" \"}]}", "Patient.name[0].family", "blank")]
    [InlineData("a text of escaped white space", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"\\r\\n\\t\"}]}", "Patient.name[0].family", "blank")]
    [InlineData("a no-break space alone", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"\u00a0\"}]}", "Patient.name[0].family", "blank")]
    [InlineData("NUL in a text", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"A\\u0000B\"}]}", "Patient.name[0].family", "U+0000")]
    [InlineData("escape character in a text", "{\"resourceType\":\"Patient\",\"name\":[{\"given\":[\"x\",\"\\u001b[31m\"]}]}", "Patient.name[0].given[1]", "U+001B")]
    [InlineData("half of a surrogate pair", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"\\ud800\"}]}", "Patient.name[0].family", "surrogate")]
    [InlineData("not a character", "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"\\uffff\"}]}", "Patient.name[0].family", "U+FFFF")]
    [InlineData("an empty object", "{\"resourceType\":\"Patient\",\"name\":[{}]}", "Patient.name[0]", "empty")]
    [InlineData("an empty array", "{\"resourceType\":\"Patient\",\"name\":[]}", "Patient.name", "empty")]
    [InlineData("33 digits", "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{\"text\":\"x\"},\"valueQuantity\":{\"value\":1.23456789012345678901234567890123}}", "Observation.value.value", "28 significant digits")]
    [InlineData("an exponent", "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{\"text\":\"x\"},\"component\":[{\"code\":{\"text\":\"y\"},\"valueQuantity\":{\"value\":1e3}}]}", "Observation.component[0].value.value", "exponent")]
    [InlineData("negative zero", "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{\"text\":\"x\"},\"valueQuantity\":{\"value\":-0.0}}", "Observation.value.value", "negative zero")]
    [InlineData("an integer with decimals", "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{\"text\":\"x\"},\"valueInteger\":1.0}", "Observation.value", "")]
    [InlineData("an integer too large", "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{\"text\":\"x\"},\"valueInteger\":4294967296}", "Observation.value", "")]
    [InlineData("a number as text", "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{\"text\":\"x\"},\"valueInteger\":\"ten\"}", "Observation.value", "")]
    [InlineData("an unknown element", "{\"resourceType\":\"Patient\",\"nickname\":\"A\"}", "Patient", "nickname")]
    [InlineData("an unknown type", "{\"resourceType\":\"Patent\",\"active\":true}", "", "Patent")]
    [InlineData("no type", "{\"active\":true}", "", "resourceType")]
    [InlineData("a code outside its list", "{\"resourceType\":\"Observation\",\"status\":\"finished\",\"code\":{\"text\":\"x\"}}", "Observation.status", "finished")]
    [InlineData("a missing element", "{\"resourceType\":\"Observation\",\"status\":\"final\"}", "Observation", "code")]
    [InlineData("an id with a slash", "{\"resourceType\":\"Patient\",\"id\":\"a/b\"}", "Patient.id", "a/b")]
    [InlineData("a date that is none", "{\"resourceType\":\"Patient\",\"birthDate\":\"2026-02-30\"}", "Patient.birthDate", "2026-02-30")]
    public void Json_is_refused_naming_the_element(string wrong, string body, string expression, string message) => Refused(wrong, FhirFormat.Json, body, expression, message);

    [Fact]
    public void A_huge_value_is_not_quoted_whole()
    {
        var body = $$"""{ "resourceType": "Observation", "status": "{{new string('s', 200_000)}}", "code": { "text": "x" } }""";
        var refused = Assert.Throws<RefusedException>(() => ResourceReader.Read(Encoding.UTF8.GetBytes(body), FhirFormat.Json));
        Assert.All(refused.Issues, issue => Assert.InRange(issue.Message.Length, 10, 1600));
        Assert.All(refused.Issues.Select(issue => issue with { Message = new string('m', 200_000) }), issue => Assert.InRange(issue.Message.Length, 1000, 1600));
    }

    [Theory]
    [InlineData("truncated", "<Patient xmlns=\"http://hl7.org/fhir\"><active value=\"true\"/>", "Patient", "not well-formed")]
    [InlineData("33 digits", "<Observation xmlns=\"http://hl7.org/fhir\"><status value=\"final\"/><code><text value=\"x\"/></code><valueQuantity><value value=\"1.23456789012345678901234567890123\"/></valueQuantity></Observation>", "Observation.value.value", "28 significant digits")]
    [InlineData("an exponent", "<Observation xmlns=\"http://hl7.org/fhir\"><status value=\"final\"/><code><text value=\"x\"/></code><valueQuantity><value value=\"1e3\"/></valueQuantity></Observation>", "Observation.value.value", "exponent")]
    [InlineData("a NUL", "<Patient xmlns=\"http://hl7.org/fhir\"><name><family value=\"A&#0;\"/></name></Patient>", "Patient.name", "not well-formed")]
    [InlineData("another namespace", "<Patient xmlns=\"urn:other\"><active value=\"true\"/></Patient>", "", "")]
    [InlineData("elements out of order", "<Patient xmlns=\"http://hl7.org/fhir\"><birthDate value=\"2000-01-01\"/><active value=\"true\"/></Patient>", "Patient", "active")]
    [InlineData("text between elements", "<Patient xmlns=\"http://hl7.org/fhir\">hello<active value=\"true\"/></Patient>", "Patient", "")]
    [InlineData("elements inside a value", "<Observation xmlns=\"http://hl7.org/fhir\"><status value=\"final\"/><code><text value=\"x\"/></code><valueInteger><value value=\"1\"/></valueInteger></Observation>", "", "value")]
    [InlineData("an unknown attribute", "<Patient xmlns=\"http://hl7.org/fhir\"><active value=\"true\" colour=\"red\"/></Patient>", "Patient.active", "colour")]
    public void Xml_is_refused_naming_the_element(string wrong, string body, string expression, string message) => Refused(wrong, FhirFormat.Xml, body, expression, message);

    [Theory]
    [InlineData("<script>x</script>", "script", Refusal.Malformed)]
    [InlineData("<a href=\\\"javascript:x\\\">a</a>", "javascript:x", Refusal.Invalid)]
    public void Narrative_that_r4_forbids_is_malformed_and_what_is_merely_unsafe_is_invalid(string content, string named, Refusal refusal)
    {
        var body = "{\"resourceType\":\"Patient\",\"text\":{\"status\":\"generated\",\"div\":\"<div xmlns=\\\"http://www.w3.org/1999/xhtml\\\">a" + content + "</div>\"}}";
        var refused = Assert.Throws<RefusedException>(() => ResourceReader.Read(Encoding.UTF8.GetBytes(body), FhirFormat.Json));
        Assert.Equal(refusal, refused.Refusal);
        Assert.Equal("Patient.text.div", Assert.Single(refused.Issues).Expression);
        Assert.Contains(named, refused.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void Invalid_utf8_is_refused()
    {
        byte[] body = [.. "{\"resourceType\":\"Patient\",\"language\":\""u8, 0xC3, 0x28, .. "\"}"u8];
        Assert.Equal(Refusal.Malformed, Assert.Throws<RefusedException>(() => ResourceReader.Read(body, FhirFormat.Json)).Refusal);
    }

    [Fact]
    public void All_problems_are_reported_at_once()
    {
        var body = "{\"resourceType\":\"Observation\",\"status\":\"finished\",\"nickname\":1,\"effectiveDateTime\":\"yesterday\"}"u8.ToArray();
        var refused = Assert.Throws<RefusedException>(() => ResourceReader.Read(body, FhirFormat.Json));
        Assert.True(refused.Issues.Count >= 4, string.Join("; ", refused.Issues));
    }

    [Fact]
    public void A_number_that_only_looks_large_is_kept_as_a_text_in_xml()
    {
        var body = "<Patient xmlns=\"http://hl7.org/fhir\"><identifier><value value=\"1e3\"/></identifier></Patient>"u8.ToArray();
        Assert.Equal("1e3", ((Patient)ResourceReader.Read(body, FhirFormat.Xml)).Identifier[0].Value);
    }

    [Theory]
    [InlineData("1.500")]
    [InlineData("0.10")]
    [InlineData("-12.25")]
    [InlineData("1234567890123456789012345678")]
    public void A_decimal_comes_back_as_it_was_sent(string number)
    {
        var body = Encoding.UTF8.GetBytes($"{{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{{\"text\":\"x\"}},\"valueQuantity\":{{\"value\":{number}}}}}");
        Assert.Equal(Encoding.UTF8.GetString(body), Encoding.UTF8.GetString(ResourceWriter.Json(ResourceReader.Read(body, FhirFormat.Json))));
    }

    [Fact]
    public void Text_in_any_script_comes_back_readable()
    {
        var body = "{\"resourceType\":\"Patient\",\"name\":[{\"family\":\"O'Brien & Søn <3 日本\"}]}"u8.ToArray();
        Assert.Equal(body, ResourceWriter.Json(ResourceReader.Read(body, FhirFormat.Json)));
    }

    [Fact]
    public void Every_example_is_the_same_after_json_and_xml_and_back()
    {
        var seen = 0;
        foreach (var file in SharedDefinitions.Examples)
        {
            var first = ResourceReader.Read(File.ReadAllBytes(file), FhirFormat.Json);
            var json = ResourceWriter.Json(first);
            var fromXml = ResourceReader.Read(ResourceWriter.Xml(first), FhirFormat.Xml);
            Assert.Equal(Encoding.UTF8.GetString(json), Encoding.UTF8.GetString(ResourceWriter.Json(fromXml)));
            Assert.Equal(Encoding.UTF8.GetString(json), Encoding.UTF8.GetString(ResourceWriter.Json(ResourceReader.Trusted<Resource>(json))));
            seen++;
        }

        Assert.True(seen > 0, "examples/ holds no example");
    }

    [Fact]
    public void Damaged_stored_bytes_are_told()
    {
        Assert.Throws<InvalidDataException>(() => ResourceReader.Trusted<Patient>("{\"resourceType\":\"Pat"u8.ToArray()));
        Assert.Throws<InvalidDataException>(() => ResourceReader.Trusted<Patient>("{\"resourceType\":\"Device\",\"id\":\"1\"}"u8.ToArray()));
    }

    private static void Refused(string wrong, FhirFormat format, string body, string expression, string message)
    {
        var refused = Assert.Throws<RefusedException>(() => ResourceReader.Read(Encoding.UTF8.GetBytes(body), format));
        Assert.Equal(Refusal.Malformed, refused.Refusal);
        Assert.True(
            refused.Issues.Any(i => i.Expression.StartsWith(expression, StringComparison.Ordinal) && i.Message.Contains(message, StringComparison.Ordinal)),
            $"{wrong}: {string.Join("; ", refused.Issues)}");
    }
}
