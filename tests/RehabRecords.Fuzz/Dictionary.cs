namespace RehabRecords.Fuzz;

/// <summary>Words that parsers have stumbled over.</summary>
internal static class Dictionary
{
    public static readonly string[] Texts =
    [
        "", " ", "\u00a0", "\t", "\r\n", "\0", "\u0001", "\u007f", "\ufeff", "\ufffe", "\u202e", "\ud83e\udd1a", "a\u0301", "ß", "İ", "%", "%00", "%25", "'", "\"", "\\", "`", ";", "--", "null", "undefined",
        "true", "0", "-0", "00", "-1", "1e400", "1e-400", "NaN", "Infinity", "0.10", "9223372036854775808", "79228162514264337593543950336", "0.00000000000000000000000000000001",
        "2024-02-30", "2024-13", "0000", "0001-01-01", "9999-12-31", "9999-12-31T23:59:60Z", "2024-01-01T24:00:00Z", "2024-01-01T00:00:00+14:01", "2024-01-01T00:00:00", "-2024", "2024-1-1", "2024-01-01 00:00:00",
        "Patient/", "/Patient/1", "Patient/1/_history/", "Patient/1/_history/99999999999", "#", "#x", "urn:uuid:", "urn:uuid:00000000-0000-0000-0000-000000000000", "urn:oid:1.2.3", "http://[", "https://x.test/fhir/Patient/1", "Patient?identifier=x|y", "javascript:alert(1)", "../../etc/passwd",
        "http://hl7.org/fhir/StructureDefinition/Patient|4.0.1", "http://hl7.org/fhir/StructureDefinition/Patient|", "|", "a|b|c", "http://unitsofmeasure.org", "http://loinc.org", "http://snomed.info/sct",
        "10*", "10*999999999", "((((((((", "{", "}", "{}", "kg.m/s2", "m/(s.(kg", "mm[Hg]", "Cel", "[degF]", "/", ".", "%[slope]",
        "<div xmlns=\"http://www.w3.org/1999/xhtml\">x</div>", "<div xmlns=\"http://www.w3.org/1999/xhtml\"><script>x</script></div>", "<div>", "&nbsp;", "&#0;", "&lt;", "<!--", "<![CDATA[", "<!DOCTYPE x [<!ENTITY y SYSTEM \"file:///etc/passwd\">]>",
        "Patient.name.where(given.exists())", "(((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((1", "$this", "%resource", "a.b.c.d", "name.given[0]", "=cmd|' /C calc'!A1", "@SUM(1)", "AA==", "A", "====", "_", "-", "*", "*:*", "?", "&", "+",
    ];

    public static readonly string[] Raw = ["null", "[]", "{}", "[[]]", "[null]", "[{}]", "{\"\":1}", "-0", "1e400", "1E1", "0.10", "99999999999999999999999999999999", "true", "\"\\ud800\"", "\"\\u0000\"", "/*x*/1", "1,", "01", ".5", "+1", "NaN"];

    public static readonly string[] Json = ["{", "}", "[", "]", ",", ":", "\"", "\\", "\\u", "null", "true", "1e999", "\"resourceType\":", "\"extension\":[", "\"contained\":[", "\"_value\":", "\"id\":", "/*", "//"];

    public static readonly string[] Xml = ["<", ">", "</", "/>", "&", "&amp;", "&#x0;", "&x;", "\"", "value=\"", " xmlns=\"", "xmlns:x=\"", "<!--", "-->", "<?x", "?>", "<![CDATA[", "]]>", "<!DOCTYPE", "<extension url=\"x\">", "<contained>", "xsi:schemaLocation=\"x\""];

    public static readonly string[] MediaTypes =
    [
        "application/fhir+json", "application/fhir+xml", "application/json", "application/xml", "text/xml", "application/json-patch+json", "application/x-www-form-urlencoded", "application/zip", "application/fhir+ndjson",
        "application/fhir+json; fhirVersion=4.0", "application/fhir+json; fhirVersion=5.0", "application/fhir+json; charset=utf-16", "application/fhir+json; charset=nonsense", "text/plain", "*/*", "text/html", "application/*", ";", "a", "application/fhir+json;;q=2", "application/fhir+json;q=0", "multipart/form-data; boundary=x",
    ];

    public static readonly string[] Prefer = ["return=minimal", "return=representation", "return=OperationOutcome", "handling=strict", "handling=lenient", "respond-async", "return=", "handling", ",,,", "return=minimal;x=\"", "return=minimal, handling=lenient", "=", "return=\"minimal\""];

    public static readonly string[] Tags = ["W/\"1\"", "\"1\"", "W/\"0\"", "W/\"-1\"", "W/\"99999999999\"", "*", "W/", "\"", "W/\"1\", W/\"2\"", "1", "", "w/\"1\""];
}
