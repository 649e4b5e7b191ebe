using System.Net;
using System.Net.Http.Headers;
using System.Text;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Access;
using RehabRecords.Tests.Pages;
using RehabRecords.Tests.Rest;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Telemetry;

/// <summary>What is sent: people with marks in every field, and everything that can be wrong with a request.</summary>
internal sealed class MarkedCourse(MarkedApp app, Marks marks, SortedDictionary<int, int> statuses)
{
    private const string IdSystem = "https://clinic.test/id";

    private HttpClient? _http;
    private string _person = "", _programme = "", _note = "";

    /// <summary>People, sessions and links over /api, good and wrong.</summary>
    public async Task TradeAsync()
    {
        _http = await ClientAsync(app.Hill);
        foreach (var code in new[] { "coin-stacking", "key-turning", "towel-wiping" })
            await SendAsync("POST", "/api/exercises", TradeApp.With(TradeApp.Exercise, ("code", $"\"{code}\""), ("title", $"\"{code}\"")).ToJsonString());
        await SendAsync("POST", "/api/templates", TradeApp.Template);
        var person = TradeApp.With(
            TradeApp.Person, ("identifier", $$"""{ "system": "{{IdSystem}}", "value": "{{marks.Number("identifier")}}" }"""), ("familyName", Text("family")), ("givenNames", $"[{Text("given")}]"),
            ("carer.name", Text("carer")), ("carer.phone", $"\"07700 9{marks.Number("telephone")[..6]}\""), ("precautions[0].note", Text("precaution")));
        _person = (string)(await SendAsync("POST", "/api/people", person.ToJsonString(), ("Idempotency-Key", marks["key of a request"])))!["id"]!;
        // The same identifier again; another body under a key; a header that is no id of a request.
        await SendAsync("POST", "/api/people", TradeApp.With(person.ToJsonString(), ("familyName", Text("second family"))).ToJsonString());
        var programme = TradeApp.With(TradeApp.Programme(_person).ToJsonString(), ("levelReason", Text("reason")), ("author.name", Text("clinician")), ("start", Day(-14)), ("end", Day(30)));
        _programme = (string)(await SendAsync("POST", "/api/programmes", programme.ToJsonString()))!["id"]!;
        var session = TradeApp.Session((_person, _programme), ("remark", Text("remark")), ("reportedBy", $$"""{ "role": "carer", "name": {{Text("reporter")}} }"""), ("exercises[1].skipped.note", Text("note of a skip")), ("doneAt", $"{Day(-1)[..^1]}T10:00:00Z\""));
        var recorded = await SendAsync("POST", "/api/sessions", session.ToJsonString());
        _note = ((string)recorded!["note"]!["address"]!).Split('/')[^1];
        // Harm, and the same session told otherwise.
        await SendAsync("POST", "/api/sessions", TradeApp.With(session.ToJsonString(), ("doneAt", $"{Day(-2)[..^1]}T10:00:00Z\""), ("exercises[0].painDuring", "9"), ("remark", Text("harm"))).ToJsonString());
        var link = await SendAsync("POST", $"/api/programmes/{_programme}/home-links", $$"""{ "for": "carer", "validUntil": {{Day(20)}}, "by": { "name": {{Text("who gives a link")}}, "role": "physiotherapist" } }""");
        var home = new Uri((string)link!["address"]!).AbsolutePath;
        marks.Add("key of a link", home.Split('/')[^1]);
        await CallAsync("GET", home, accept: "text/html");
        await CallAsync("POST", home, $"remark={marks["remark from home"]}", type: "application/x-www-form-urlencoded", accept: "text/html");
        await CallAsync("GET", home + marks["end of a key"], accept: "text/html");
        await CallAsync("GET", $"/home/{marks["wrong key"]}/sent/{marks["entry"]}", accept: "text/html");

        foreach (var wrong in new[]
        {
            """{ "familyName": 5, "givenNames": "{0}" }""", """{ "{0}": 1 }""", """{ "familyName": "{0}", "familyName": "{0}" }""", """{ "birthDate": "{0}" }""", """{ "sex": "{0}" }""",
            """{ "familyName": "{0}", """, """{0}""", """{ "identifier": { "system": "{0}", "value": "{0}" } }""", """{ "onsetDate": { "{0}": "{0}" } }""", """{ "precautions": [{ "code": "{0}" }] }""",
        })
            await SendAsync("POST", "/api/people", wrong.Replace("{0}", marks["wrong body"], StringComparison.Ordinal));
        foreach (var (path, json) in new[] { ("doneAt", Text("time")), ("person", Text("person")), ("exercises[0].painDuring", Text("pain")), ("exercises[0].exercise", Text("exercise")), ("reportedBy.role", Text("role")), ("programme", Text("programme")) })
            await SendAsync("POST", "/api/sessions", TradeApp.With(session.ToJsonString(), (path, json)).ToJsonString());
        foreach (var path in new[] { "/api/people/{0}", "/api/people?name={0}", "/api/people?identifier={0}|{0}", "/api/people?limit={0}", "/api/notes?person={0}", "/api/notes/{0}", "/api/{0}", "/api/programmes/{0}/exchange?recipient={0}" })
            await SendAsync("GET", path.Replace("{0}", marks["path of api"], StringComparison.Ordinal));
        await SendAsync("POST", $"/api/notes/{_note}/signature", $$"""{ "by": { "name": {{Text("signer")}}, "role": "physiotherapist" } }""");
        foreach (var path in new[] { $"/api/people/{_person}", $"/api/people/{_person}/progress", $"/api/notes/{_note}", $"/api/people/{_person}/record" })
            await SendAsync("GET", path);
    }

    /// <summary>Resources, searches, conditions, patches and bundles over /fhir.</summary>
    public async Task FhirAsync()
    {
        var number = marks.Number("identifier of a resource");
        var person = TradeApp.With(FhirCalls.Person(marks["family of a resource"], number), ("telecom", $$"""[{ "system": "phone", "value": "07700 9{{marks.Number("telephone of a resource")[..6]}}" }]"""), ("address", $$"""[{ "line": [{{Text("street")}}] }]"""));
        var id = (string)(await SendAsync("POST", "/fhir/Patient", person.ToJsonString()))!["id"]!;
        await SendAsync("POST", "/fhir/Patient", person.ToJsonString());
        await SendAsync("POST", "/fhir/Patient", person.ToJsonString(), ("If-None-Exist", $"identifier={IdSystem}|{number}"));
        await SendAsync("POST", "/fhir/Patient", person.ToJsonString(), ("If-None-Exist", $"name={marks["name in a condition"]}"));
        foreach (var family in new[] { $"{marks["line break"]}\r\nFORGED warn: RehabRecords[0]\n", $"{marks["zero"]}\u0000", $"<script>{marks["script"]}</script>" })
            await SendAsync("POST", "/fhir/Patient", FhirCalls.Person(family));
        foreach (var wrong in new[]
        {
            """{ "resourceType": "Patient", "birthDate": "{0}" }""", """{ "resourceType": "Patient", "active": "{0}" }""", """{ "resourceType": "{0}" }""", """{ "resourceType": "Patient", "{0}": "{0}" }""", """{ "resourceType": "Patient", "gender": "{0}" }""",
            """{ "resourceType": "Patient", "name": [{ "family": "{0}" """, """{0}""", """{ "resourceType": "Patient", "extension": [{ "url": "https://{0}.test", "valueString": "{0}" }] }""", """{ "resourceType": "Patient", "meta": { "profile": ["https://{0}.test"] } }""",
            """{ "resourceType": "Patient", "photo": [{ "contentType": "image/png", "data": "{0}!" }] }""", """{ "resourceType": "Patient", "text": { "status": "generated", "div": "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p onclick=\"{0}\">{0}</p></div>" } }""",
            """{ "resourceType": "Patient", "managingOrganization": { "reference": "Organization/{0}" } }""",
        })
            await SendAsync("POST", "/fhir/Patient", wrong.Replace("{0}", marks["wrong resource"], StringComparison.Ordinal));
        foreach (var wrong in new[] { "\"value\":12.50", "\"code\":\"kg\"", "\"2026-03-02T10:00:00", "\"final\"", $"Patient/{id}" })
            await SendAsync("POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{id}").Replace(wrong, wrong[..^3] + marks["wrong result"], StringComparison.Ordinal));
        await CallAsync("POST", "/fhir/Patient", $"<Patient xmlns=\"http://hl7.org/fhir\"><name><family value=\"{marks["xml"]}\"/><{marks["xml element"]}/></name></Patient>", type: FhirCalls.Xml);
        await CallAsync("POST", "/fhir/Patient", $"<Patient xmlns=\"http://hl7.org/fhir\"><birthDate value=\"{marks["xml value"]}\"/>", type: FhirCalls.Xml);
        await CallAsync("POST", "/fhir/Patient", person.ToJsonString(), type: $"application/{marks["type of a body"]}");
        await SendAsync("POST", "/fhir/Patient", $$"""{ "resourceType": "Patient", "name": [{ "family": "{{marks["long"]}}{{new string('x', 1_100_000)}}" }] }""");

        var change = TradeApp.With(person.ToJsonString(), ("id", $"\"{id}\""), ("name[0].family", Text("changed family")));
        foreach (var match in new[] { "W/\"7\"", marks["etag"], "W/\"1\"" })
            await SendAsync("PUT", $"/fhir/Patient/{id}", change.ToJsonString(), ("If-Match", match));
        await SendAsync("PUT", $"/fhir/Patient/{id}", change.ToJsonString());
        await SendAsync("PUT", $"/fhir/Patient/{marks["id"]}", change.ToJsonString(), ("If-Match", "W/\"1\""));
        foreach (var patch in new[] { """[{ "op": "replace", "path": "/name/0/family", "value": "{0}" }]""", """[{ "op": "{0}", "path": "/{0}" }]""", """[{ "op": "test", "path": "/birthDate", "value": "{0}" }]""", """{0}""" })
            await CallAsync("PATCH", $"/fhir/Patient/{id}", patch.Replace("{0}", marks["patch"], StringComparison.Ordinal), type: "application/json-patch+json", headers: ("If-Match", "W/\"2\""));
        foreach (var path in new[]
        {
            "/fhir/Patient?name={0}", "/fhir/Patient?identifier={0}", $"/fhir/Patient?identifier={IdSystem}|{{0}}", "/fhir/Patient?birthdate={0}", "/fhir/Patient?{0}=1", "/fhir/Patient?name:{0}=1", "/fhir/Patient?_sort={0}", "/fhir/Patient?_count={0}",
            "/fhir/Patient?_include={0}", "/fhir/Patient?_has:Observation:subject:{0}=1", "/fhir/Observation?patient.name={0}", "/fhir/Observation?value-quantity={0}", "/fhir/Observation?subject=Patient/{0}", "/fhir/{0}", "/fhir/{0}/{0}", "/fhir/Patient/{0}", "/fhir/Patient/{0}/_history/1",
            "/fhir/Patient/{0}/$everything", "/fhir/Patient/${0}", "/fhir/Patient?_page={0}", "/fhir/Patient/_history?_since={0}", "/fhir/ValueSet/$expand?url={0}", "/fhir/Patient?_format={0}", "/fhir/Patient?_elements={0}",
        })
            await SendAsync("GET", path.Replace("{0}", marks["search"], StringComparison.Ordinal));
        await CallAsync("POST", "/fhir/Patient/_search", $"name={marks["search by form"]}&{marks["parameter by form"]}=1", type: "application/x-www-form-urlencoded");
        await SendAsync("POST", "/fhir", FhirCalls.Bundle("batch", FhirCalls.Entry("GET", $"Patient?name={marks["batch"]}"), FhirCalls.Entry("POST", "Patient", FhirCalls.Person(marks["person of a batch"])), FhirCalls.Entry("GET", marks["address of a batch"])).ToJsonString());
        await SendAsync("POST", "/fhir", FhirCalls.Bundle("transaction", FhirCalls.Entry("POST", "Patient", FhirCalls.Person(marks["person of a transaction"], number))).ToJsonString());
        await SendAsync("POST", "/fhir/Patient/$validate", FhirCalls.Person(marks["validated"]).Replace("1950-04-03", marks["wrong date"], StringComparison.Ordinal));
        await SendAsync("GET", $"/fhir/Patient/{id}");
        await SendAsync("GET", $"/fhir/Patient/{id}/$everything");
        await SendAsync("POST", $"/fhir/Patient/{id}", "{}");
        var weight = (string)(await SendAsync("POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{id}")))!["id"]!;
        await CallAsync("DELETE", $"/fhir/Patient/{id}", headers: ("If-Match", "W/\"3\""));
        await CallAsync("DELETE", $"/fhir/Observation/{weight}", headers: ("If-Match", "W/\"1\""));
    }

    /// <summary>Somebody signs in, reads pages, sends forms that hold and that do not; and the issuer says something of somebody.</summary>
    public async Task PagesAsync()
    {
        var browser = await app.SignedInAsync(marks["who signs in"], "therapist", "hill", registration: marks["registration"]);
        foreach (var cookie in browser.Cookies)
            marks.Add("cookie " + cookie.Name, cookie.Value);
        foreach (var page in new[] { "/caseload", $"/caseload?find={marks["found on a page"]}", $"/people/{_person}", $"/notes/{_note}", $"/people/{marks["page of nobody"]}", $"/programmes/{_programme}/home-sheet", "/you" })
            Count((await browser.GoAsync(page)).Status);
        Count((await browser.PostAsync($"/notes/{_note}/sign", [new("name", marks["form without token"])])).Status);
        Count((await browser.PostAsync($"/notes/{_note}/sign", [new("__RequestVerificationToken", marks["token of a form"])])).Status);
        Count((await browser.SendAsync($"/notes/{_note}", $"/notes/{_note}/sign", ("read", marks["not yes"]))).Status);
        // No browser is set up to print with.
        Count((await browser.GoAsync($"/notes/{_note}/document.pdf")).Status);

        var other = new Browser(app);
        var (_, _, issuer) = await other.GoAsync($"/people/{marks["page before sign-in"]}");
        var state = Uri.UnescapeDataString(issuer!.Split("state=")[1].Split('&')[0]);
        Count((await other.GoAsync($"/signed-in?error=access_denied&error_description={marks["what an issuer says"]}&state={Uri.EscapeDataString(state)}")).Status);
        Count((await other.GoAsync($"/signed-in?code={marks["code"]}&state={marks["state"]}")).Status);
        (_, _, issuer) = await other.GoAsync("/caseload");
        state = Uri.UnescapeDataString(issuer!.Split("state=")[1].Split('&')[0]);
        Count((await other.GoAsync($"/signed-in?code={marks["wrong code"]}&state={Uri.EscapeDataString(state)}")).Status);
        Count((await other.GoAsync($"/development-issuer/authorize?client_id={marks["client of an issuer"]}&redirect_uri=https://{marks["elsewhere"]}.test")).Status);
    }

    /// <summary>Those who may not: no token, wrong ones, too little; and headers that say what they like.</summary>
    public async Task StrangersAsync()
    {
        using var narrow = await ClientAsync(app.Narrow);
        await CallAsync("GET", $"/fhir/Patient?name={marks["forbidden search"]}", by: narrow);
        await CallAsync("POST", "/fhir/Patient", FhirCalls.Person(marks["forbidden person"]), by: narrow);
        await CallAsync("GET", $"/fhir/Patient/{marks["without token"]}", by: app.Http);
        using var wrong = app.With(marks["wrong token"]);
        await CallAsync("GET", "/fhir/Patient", by: wrong);
        foreach (var assertion in new[] { marks["assertion"], marks.Add("assertion of another", app.Hill.Assertion("https://other.test/token", app.Now)), marks.Add("expired assertion", app.Hill.Assertion(app.Base + "/access/token", app.Now, -400)) })
            Count((await app.AskAsync(assertion, "system/*.rs", ("client_id", marks["client"]), ("client_secret", marks["secret of a client"]))).Status);
        var used = marks.Add("used assertion", app.Hill.Assertion(app.Base + "/access/token", app.Now));
        for (var i = 0; i < 2; i++)
            Count((await app.AskAsync(used, $"system/*.rs {(i == 0 ? "" : marks["scope"])}".Trim())).Status);
        await CallAsync("POST", "/access/token", $"grant_type={marks["grant"]}&password={marks["password"]}&username={marks["user"]}", type: "application/x-www-form-urlencoded", by: app.Http);

        foreach (var (name, value) in new[]
        {
            ("User-Agent", marks["program"]), ("X-Request-Id", marks["id of a request"] + "!"), ("X-Forwarded-For", marks["forwarded for"]), ("Forwarded", "for=" + marks["forwarded"]), ("Referer", $"https://clinic.test/{marks["page before"]}"), ("Cookie", $"session={marks["cookie"]}; form={marks["form cookie"]}"),
            ("tracestate", $"clinic={marks["trace state"]}"), ("baggage", $"name={marks["baggage"]}"), ("Prefer", marks["preference"]), ("Accept", $"application/{marks["wanted"]}"), ("If-Modified-Since", marks["since"]), ("Host", marks["host"] + ".test"), ("Origin", $"https://{marks["origin"]}.test"),
        })
            await CallAsync("GET", "/fhir/Patient?_count=1", headers: [(name, value), ("traceparent", "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01")]);
        await SendAsync(marks["method"].ToUpperInvariant(), "/fhir/Patient");
        await RawAsync($"GET /fhir/{marks["raw"]} HTTP/9.9\r\nHost: x\r\n\r\n");
        await RawAsync($"GET /fhir/Patient?name={marks["raw query"]} HTTP/1.1\r\nHost: x\r\n{marks["raw header"]}\r\n\r\n");
        await RawAsync($"POST /fhir/Patient HTTP/1.1\r\nHost: x\r\nContent-Length: 500\r\nContent-Type: application/fhir+json\r\nAuthorization: Bearer {marks["raw token"]}\r\n\r\n{{ \"resourceType\": \"{marks["cut off"]}");
    }

    /// <summary>Requests at which the service itself fails, with words in the exception that name somebody.</summary>
    public async Task FailuresAsync()
    {
        app.Failing.Fails = true;
        foreach (var path in new[] { $"/fhir/Patient?name={marks["failing search"]}", $"/api/people?name={marks["failing name"]}", $"/api/people/{_person}/progress" })
            await SendAsync("GET", path);
        await SendAsync("POST", "/fhir/Patient", FhirCalls.Person(marks["failing person"]));
        // Longer than the audit trail waits between two tries.
        await Task.Delay(1200);
        app.Failing.Fails = false;
        await SendAsync("GET", "/fhir/Patient?_count=1");
    }

    private string Text(string what) => $"\"{marks[what]}\"";

    private string Day(int days) => $"\"{app.Now.AddDays(days):yyyy-MM-dd}\"";

    private async Task<HttpClient> ClientAsync(TestClient client) => app.With(marks.Add("access token", await app.TokenAsync(client)));

    private Task<JsonNode?> SendAsync(string method, string path, string? body = null, params (string Name, string Value)[] headers) => CallAsync(method, path, body, null, null, null, headers);

    private async Task<JsonNode?> CallAsync(
        string method, string path, string? body = null, string? type = null, string? accept = null, HttpClient? by = null, params (string Name, string Value)[] headers)
    {
        using var request = new HttpRequestMessage(new HttpMethod(method), path);
        if (body is not null)
        {
            request.Content = new ByteArrayContent(Encoding.UTF8.GetBytes(body));
            request.Content.Headers.TryAddWithoutValidation("Content-Type", type ?? (path.StartsWith("/api", StringComparison.Ordinal) ? "application/json" : FhirCalls.Json));
        }

        if (accept is not null)
            request.Headers.Accept.Add(new MediaTypeWithQualityHeaderValue(accept));
        foreach (var (name, value) in headers)
            request.Headers.TryAddWithoutValidation(name, value);
        using var response = await (by ?? _http!).SendAsync(request);
        Count(response.StatusCode);
        var text = await response.Content.ReadAsStringAsync();
        return response.IsSuccessStatusCode && response.Content.Headers.ContentType?.MediaType?.EndsWith("json", StringComparison.Ordinal) == true ? JsonNode.Parse(text) : null;
    }

    private async Task RawAsync(string request)
    {
        using var socket = new System.Net.Sockets.TcpClient();
        await socket.ConnectAsync(IPAddress.Loopback, app.Address.Port);
        await using var stream = socket.GetStream();
        await stream.WriteAsync(Encoding.UTF8.GetBytes(request));
        socket.Client.Shutdown(System.Net.Sockets.SocketShutdown.Send);
        try
        {
            var answer = await new StreamReader(stream).ReadToEndAsync();
            if (answer.Split(' ') is [_, var status, ..])
                Count((HttpStatusCode)int.Parse(status, System.Globalization.CultureInfo.InvariantCulture));
        }
        catch (IOException)
        {
            // Hung up on, which is an answer too.
        }
    }

    private void Count(HttpStatusCode status) => statuses[(int)status] = statuses.GetValueOrDefault((int)status) + 1;
}
