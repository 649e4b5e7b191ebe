using System.Collections.Concurrent;
using System.Diagnostics.Tracing;
using System.Net;
using System.Net.Sockets;
using System.Text;
using System.Text.Json.Nodes;
using RehabRecords.Tests.Rest;
using RehabRecords.Tests.Trade;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Access;

/// <summary>Addresses in what is sent are never followed: not a name is looked up, not a connection made.</summary>
public sealed class OutwardTests(AccessApp app, ITestOutputHelper output) : IClassFixture<AccessApp>
{
    [Fact]
    public async Task No_address_in_anything_that_is_sent_is_ever_reached()
    {
        using var trap = new Trap();
        using var http = await app.AsAsync(app.Hill);
        var person = (string)(await http.ExpectAsync(HttpStatusCode.Created, "POST", "/fhir/Patient", FhirCalls.Person("Outward")))["id"]!;
        var statuses = new SortedDictionary<int, int>();
        async Task SendAsync(string method, string path, string? body = null, string type = FhirCalls.Json, params (string Name, string Value)[] headers)
        {
            using var request = new HttpRequestMessage(new HttpMethod(method), path);
            if (body is not null)
            {
                request.Content = new ByteArrayContent(Encoding.UTF8.GetBytes(body));
                request.Content.Headers.TryAddWithoutValidation("Content-Type", type);
            }

            foreach (var (name, value) in headers)
                request.Headers.TryAddWithoutValidation(name, value);
            using var response = await http.SendAsync(request);
            statuses[(int)response.StatusCode] = statuses.GetValueOrDefault((int)response.StatusCode) + 1;
        }

        foreach (var address in trap.Addresses)
        {
            var there = $"{address}/Patient/1";
            foreach (var resource in new[]
            {
                FhirCalls.Weight(there), FhirCalls.Weight($"{address}/Patient/1/_history/2"),
                $$"""{ "resourceType": "Patient", "photo": [{ "contentType": "image/png", "url": "{{address}}/p.png" }], "name": [{ "family": "Outward" }] }""",
                $$"""{ "resourceType": "Patient", "meta": { "profile": ["{{address}}/StructureDefinition/x"] }, "name": [{ "family": "Outward" }] }""",
                $$"""{ "resourceType": "Patient", "extension": [{ "url": "{{address}}/StructureDefinition/x", "valueString": "x" }], "name": [{ "family": "Outward" }] }""",
                $$"""{ "resourceType": "Patient", "implicitRules": "{{address}}/rules", "name": [{ "family": "Outward" }] }""",
                $$"""{ "resourceType": "Patient", "managingOrganization": { "reference": "{{address}}/Organization/1" }, "name": [{ "family": "Outward" }] }""",
                $$"""{ "resourceType": "Patient", "identifier": [{ "system": "{{address}}/id", "value": "1" }], "name": [{ "family": "Outward" }] }""",
                $$"""{ "resourceType": "Patient", "text": { "status": "generated", "div": "<div xmlns=\"http://www.w3.org/1999/xhtml\"><img src=\"{{address}}/i.png\" alt=\"x\"/><a href=\"{{address}}/a\">x</a></div>" } }""",
                $$"""{ "resourceType": "DocumentReference", "status": "current", "subject": { "reference": "Patient/{{person}}" }, "content": [{ "attachment": { "contentType": "text/plain", "url": "{{address}}/d.txt" } }] }""",
                $$"""{ "resourceType": "Observation", "status": "final", "code": { "coding": [{ "system": "{{address}}/codes", "code": "x" }] }, "subject": { "reference": "Patient/{{person}}" } }""",
                $$"""{ "resourceType": "CarePlan", "status": "active", "intent": "plan", "subject": { "reference": "Patient/{{person}}" }, "instantiatesCanonical": ["{{address}}/PlanDefinition/x|1"], "instantiatesUri": ["{{address}}/u"] }""",
                $$"""{ "resourceType": "ActivityDefinition", "status": "active", "url": "{{address}}/ActivityDefinition/x", "library": ["{{address}}/Library/x"], "relatedArtifact": [{ "type": "documentation", "url": "{{address}}/r" }] }""",
                $$"""{ "resourceType": "Subscription", "status": "requested", "reason": "x", "criteria": "Patient", "channel": { "type": "rest-hook", "endpoint": "{{address}}/hook" } }""",
                $$"""{ "resourceType": "Consent", "status": "active", "patient": { "reference": "Patient/{{person}}" }, "sourceAttachment": { "url": "{{address}}/c" }, "policy": [{ "uri": "{{address}}/policy" }] }""",
                $$"""{ "resourceType": "Organization", "name": "Outward", "telecom": [{ "system": "url", "value": "{{address}}" }], "endpoint": [{ "reference": "{{address}}/Endpoint/1" }] }""",
            })
            {
                var type = (string)JsonNode.Parse(resource)!["resourceType"]!;
                await SendAsync("POST", $"/fhir/{type}", resource);
                await SendAsync("POST", $"/fhir/{type}/$validate", resource);
                await SendAsync("POST", $"/fhir/{type}/$validate?profile={Uri.EscapeDataString(address + "/StructureDefinition/x")}", resource);
                await SendAsync("POST", "/fhir", FhirCalls.Bundle("transaction", FhirCalls.Entry("POST", type, resource, $"{address}/{type}/1")).ToJsonString());
            }

            foreach (var xml in new[]
            {
                $"<!DOCTYPE Patient SYSTEM \"{address}/x.dtd\"><Patient xmlns=\"http://hl7.org/fhir\"/>", $"<!DOCTYPE Patient [<!ENTITY e SYSTEM \"{address}/e\">]><Patient xmlns=\"http://hl7.org/fhir\"><language value=\"&e;\"/></Patient>",
                $"<?xml-stylesheet href=\"{address}/s.xsl\"?><Patient xmlns=\"http://hl7.org/fhir\" xmlns:xsi=\"http://www.w3.org/2001/XMLSchema-instance\" xsi:schemaLocation=\"http://hl7.org/fhir {address}/p.xsd\"><active value=\"true\"/></Patient>",
            })
                await SendAsync("POST", "/fhir/Patient", xml, FhirCalls.Xml);
            foreach (var query in new[]
            {
                "Observation?subject={0}/Patient/1", "Patient?_profile={0}/StructureDefinition/x", "Observation?code:in={0}/ValueSet/x", "Patient?organization={0}/Organization/1", "CarePlan?instantiates-canonical={0}/PlanDefinition/x", "ValueSet/$expand?url={0}/ValueSet/x",
                "CodeSystem/$lookup?system={0}/codes&code=x", "Patient?_include={0}", "ActivityDefinition?url={0}/ActivityDefinition/x", "Patient?_page={0}",
            })
                await SendAsync("GET", "/fhir/" + query.Replace("{0}", Uri.EscapeDataString(address), StringComparison.Ordinal));
            await SendAsync("POST", "/api/people", TradeApp.With(TradeApp.Person, ("identifier", $$"""{ "system": "{{address}}/id", "value": "x" }"""), ("familyName", $"\"{address}\"")).ToJsonString(), "application/json");
            // A document of another team, from there and with everything there.
            var document = $$"""
                { "resourceType": "Bundle", "type": "document", "identifier": { "system": "{{address}}/documents", "value": "1" }, "timestamp": "2026-06-01T10:00:00Z", "link": [{ "relation": "self", "url": "{{address}}/Bundle/1" }],
                  "entry": [{ "fullUrl": "{{address}}/Composition/1", "resource": { "resourceType": "Composition", "id": "1", "status": "final", "type": { "text": "x" }, "date": "2026-06-01", "title": "x", "author": [{ "reference": "{{address}}/Practitioner/1" }],
                    "subject": { "reference": "{{there}}" }, "section": [{ "title": "x", "entry": [{ "reference": "{{address}}/CarePlan/1" }] }] } }, { "fullUrl": "{{there}}", "resource": { "resourceType": "Patient", "id": "1", "name": [{ "family": "Outward" }] } }] }
                """;
            foreach (var path in new[] { "/fhir", "/fhir/Bundle", "/api/exchange", "/api/imports" })
                await SendAsync("POST", path, document);
            await SendAsync("GET", "/fhir/Patient", headers: [("Origin", address), ("Referer", address), ("X-Forwarded-Host", new Uri(address).Authority), ("Prefer", "respond-async"), ("Authorization", Forged(address))]);
            await app.AskAsync(Forged(address)["Bearer ".Length..], "system/*.rs", ("resource", address), ("client_metadata", address));
        }

        output.WriteLine($"{statuses.Values.Sum()} requests: {string.Join(", ", statuses.Select(s => $"{s.Key} {s.Value}"))}; {trap.Connections} connections, {trap.LookUps} names looked up");
        Assert.True(statuses.GetValueOrDefault(201) > 5, "too little was stored to say anything");
        Assert.Equal((0, 0), (trap.Connections, trap.LookUps));
    }

    [Fact]
    public async Task Whoever_follows_such_an_address_is_noticed()
    {
        using var trap = new Trap();
        using var http = new HttpClient { Timeout = TimeSpan.FromSeconds(2) };
        foreach (var address in trap.Addresses)
            await Assert.ThrowsAnyAsync<Exception>(() => http.GetAsync(address));
        Assert.NotEqual(0, trap.Connections);
        Assert.NotEqual(0, trap.LookUps);
    }

    /// <summary>A token whose header says where its keys are.</summary>
    private static string Forged(string address)
    {
        static string Part(string json) => Convert.ToBase64String(Encoding.UTF8.GetBytes(json)).TrimEnd('=').Replace('+', '-').Replace('/', '_');
        return $"Bearer {Part($$"""{ "alg": "ES384", "typ": "JWT", "kid": "1", "jku": "{{address}}/keys", "x5u": "{{address}}/certificate" }""")}.{Part($$"""{ "iss": "{{address}}", "sub": "{{address}}", "aud": "{{AccessApp.TokenAddress}}", "exp": 9999999999, "jti": "1" }""")}.{Part("signature")}";
    }

    /// <summary>An address of this machine where every connection is counted, and a name that nobody has, whose look-ups are.</summary>
    private sealed class Trap : EventListener
    {
        // The names of sources are told before the constructor has run.
        private readonly string _name = $"outward-{Guid.NewGuid():N}.test";
        private readonly TcpListener _listener = new(IPAddress.Loopback, 0);
        private readonly ConcurrentBag<TcpClient> _came = [];
        private int _lookUps;

        public Trap()
        {
            _listener.Start();
            _ = Task.Run(async () =>
            {
                try
                {
                    while (true)
                    {
                        var one = await _listener.AcceptTcpClientAsync();
                        _came.Add(one);
                        one.Close();
                    }
                }
                catch (SocketException)
                {
                    // The test is over.
                }
            });
        }

        public string[] Addresses => [$"http://127.0.0.1:{((IPEndPoint)_listener.LocalEndpoint).Port}", $"https://{_name}"];

        public int Connections => _came.Count;

        public int LookUps => _lookUps;

        public override void Dispose()
        {
            _listener.Stop();
            base.Dispose();
        }

        protected override void OnEventSourceCreated(EventSource eventSource)
        {
            if (eventSource.Name == "System.Net.NameResolution")
                EnableEvents(eventSource, EventLevel.Informational);
        }

        protected override void OnEventWritten(EventWrittenEventArgs eventData)
        {
            if (_name is not null && eventData.EventName == "ResolutionStart" && eventData.Payload?.Any(p => p is string host && host.Contains(_name, StringComparison.Ordinal)) == true)
                Interlocked.Increment(ref _lookUps);
        }
    }
}
