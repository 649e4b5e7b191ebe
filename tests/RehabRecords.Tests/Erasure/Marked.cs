using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Access;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Erasure;

/// <summary>A person whose every field holds a mark that stands nowhere else, so that what is left of them can be found in raw bytes.</summary>
internal sealed class Marked(HttpClient all, int number)
{
    /// <summary>Letters, so that they are words to a search too.</summary>
    private static readonly string[] Kinds = ["family", "given", "identifier", "street", "phone", "carer", "hold", "remark", "note", "comment", "file", "precaution", "message", "asked"];

    public string Person { get; private set; } = "";

    public string Programme { get; private set; } = "";

    public IReadOnlyList<string> All => [.. Kinds.Select(Of)];

    public string Of(string kind) => $"Zq{kind}{(char)('a' + number)}xv";

    public string Patient => $"Patient/{Person}";

    public async Task MakeAsync()
    {
        var body = TradeApp.With(TradeApp.Person, ("familyName", Quoted("family")), ("givenNames", $"[{Quoted("given")}]"), ("identifier", $$"""{ "system": "https://clinic.example/id/person", "value": {{Quoted("identifier")}} }"""));
        body["carer"]!["name"] = Of("carer");
        body["precautions"]![0]!["note"] = Of("precaution");
        Person = (string)(await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/people", body.ToJsonString(), ("Idempotency-Key", $"person-{number}")))["id"]!;
        var patient = await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/{Patient}");
        patient["address"] = JsonNode.Parse($$"""[{ "line": [{{Quoted("street")}}], "city": "Nowhere" }]""");
        patient["telecom"] = JsonNode.Parse($$"""[{ "system": "phone", "value": {{Quoted("phone")}} }]""");
        await all.ExpectAsync(HttpStatusCode.OK, "PUT", $"/fhir/{Patient}", patient.ToJsonString(), ("If-Match", "W/\"1\""));

        Programme = (string)(await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/programmes", TradeApp.Programme(Person).ToJsonString()))["id"]!;
        var session = TradeApp.Session((Person, Programme));
        session["remark"] = Of("remark");
        session["exercises"]![1]!["skipped"]!["note"] = Of("comment");
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/api/sessions", session.ToJsonString(), ("Idempotency-Key", $"session-{number}"));
        // A result, corrected and then deleted: all three stay versions of the record.
        var result = await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Observation",
            $$"""{"resourceType":"Observation","status":"final","code":{"text":"Seen"},"subject":{"reference":"{{Patient}}"},"effectiveDateTime":"2026-06-11","valueString":{{Quoted("comment")}},"note":[{"text":{{Quoted("comment")}}}]}""");
        result["valueString"] = Of("comment") + " again";
        await all.ExpectAsync(HttpStatusCode.OK, "PUT", $"/fhir/Observation/{result["id"]}", result.ToJsonString(), ("If-Match", "W/\"1\""));
        await all.ExpectAsync(HttpStatusCode.NoContent, "DELETE", $"/fhir/Observation/{result["id"]}", null, ("If-Match", "W/\"2\""));
        // A file, which names nobody, and what points at it.
        var file = await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Binary", $$"""{"resourceType":"Binary","contentType":"text/plain","data":"{{Convert.ToBase64String(Encoding.UTF8.GetBytes(Of("file") + new string(' ', 9000) + Of("file")))}}"}""");
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/DocumentReference",
            $$"""{"resourceType":"DocumentReference","status":"current","subject":{"reference":"{{Patient}}"},"description":{{Quoted("file")}},"content":[{"attachment":{"contentType":"text/plain","url":"Binary/{{file["id"]}}","title":{{Quoted("file")}} } }]}""");
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Communication",
            $$"""{"resourceType":"Communication","status":"completed","subject":{"reference":"{{Patient}}"},"sent":"2026-06-11T10:00:00Z","payload":[{"contentString":{{Quoted("message")}}}]}""");
        await all.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Composition",
            $$"""{"resourceType":"Composition","status":"final","type":{"text":"Note"},"subject":{"reference":"{{Patient}}"},"date":"2026-06-11","author":[{"display":"Rowan Invented"}],"title":{{Quoted("note")}},"section":[{"title":"Said","text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\">{{Of("note")}}</div>"} }]}""");
        await all.ExpectAsync(HttpStatusCode.Created, "POST", $"/api/programmes/{Programme}/home-links", """{ "for": "patient", "validUntil": "2026-07-12", "by": { "name": "Rowan Invented", "role": "physiotherapist" } }""");
        // Questions in the trail that name the person by words only.
        await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient?family={Of("family")}");
        await all.ExpectAsync(HttpStatusCode.OK, "GET", $"/fhir/Patient?family={Of("family")}&address={Of("asked")}");
    }

    private string Quoted(string kind) => $"\"{Of(kind)}\"";
}
