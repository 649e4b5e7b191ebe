using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Rest;
using RehabRecords.Tests.Trade;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Access;

/// <summary>
/// Two organisations whose records hold words that stand nowhere else, and random callers with random requests who know
/// every id, identifier and version of the other's. No answer holds a word of the other, and none differs by what the other has.
/// </summary>
public sealed class IsolationTests(IsolationTests.Twins twins, ITestOutputHelper output) : IClassFixture<IsolationTests.Twins>
{
    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(3)]
    public async Task Whatever_is_asked_no_answer_holds_anything_of_the_other_organisation(int seed)
    {
        var random = new Random(seed);
        var asked = new Dictionary<string, int>(StringComparer.Ordinal);
        var statuses = new Dictionary<HttpStatusCode, int>();
        var by = new SortedDictionary<string, int>(StringComparer.Ordinal);
        var own = 0;
        for (var i = 0; i < 500; i++)
        {
            var hill = random.Next(2) == 0;
            var (mine, theirs) = hill ? (twins.Hill, twins.Vale) : (twins.Vale, twins.Hill);
            var request = Ask.Random(random, mine, theirs);
            asked[request.Kind] = asked.GetValueOrDefault(request.Kind) + 1;
            // Mostly the caller who may do all, so that much is answered; else one of any role, or with few people.
            var caller = random.Next(2) == 0 ? "all" : mine.Callers[random.Next(mine.Callers.Count)];
            by[caller] = by.GetValueOrDefault(caller) + 1;
            var (status, text) = await mine.SendAsync(request, caller);
            statuses[status] = statuses.GetValueOrDefault(status) + 1;
            foreach (var word in theirs.Words.Where(w => !request.Whole.Contains(w, StringComparison.OrdinalIgnoreCase)))
                Assert.False(text.Contains(word, StringComparison.OrdinalIgnoreCase), $"seed {seed}, request {i}, {request}: {(int)status} holds '{word}' of the other organisation: {text}");
            // What the request itself names may be echoed; what it does not name may not be told.
            foreach (var id in theirs.Ids.Except(mine.Ids).Where(id => !request.Whole.Contains(id, StringComparison.Ordinal)))
                Assert.False(text.Contains(id, StringComparison.Ordinal), $"seed {seed}, request {i}, {request}: {(int)status} tells the id {id} of the other organisation");
            if (mine.Words.Any(w => text.Contains(w, StringComparison.OrdinalIgnoreCase)))
                own++;
        }

        output.WriteLine($"seed {seed}: 500 requests; {string.Join(", ", asked.OrderBy(a => a.Key, StringComparer.Ordinal).Select(a => $"{a.Key} {a.Value}"))}");
        output.WriteLine($"answers: {string.Join(", ", statuses.OrderBy(s => s.Key).Select(s => $"{(int)s.Key} {s.Value}"))}; {own} held words of the caller's own organisation");
        output.WriteLine($"callers: {string.Join(", ", by.Select(b => $"{b.Key} {b.Value}"))}");
        Assert.Equal(8, by.Count);
        // The test looks at something only if own data was answered often.
        Assert.True(own > 100, $"only {own} answers held anything");
        Assert.DoesNotContain(statuses.Keys, s => (int)s >= 500);
    }

    [Fact]
    public async Task What_is_asked_about_the_others_ids_is_answered_as_for_ids_that_never_were()
    {
        var differing = 0;
        var compared = 0;
        foreach (var (type, id) in twins.Vale.Addresses.Where(a => !twins.Hill.Ids.Contains(a.Id)))
        {
            var never = Guid.CreateVersion7().ToString("D");
            foreach (var request in Ask.About(type, id))
            {
                var (status, text) = await twins.Hill.SendAsync(request);
                var (other, unknown) = await twins.Hill.SendAsync(request.With(id, never));
                compared++;
                if (status != other || Same(text, id) != Same(unknown, never))
                {
                    differing++;
                    if (differing < 4)
                        output.WriteLine($"{request}: {(int)status} {text} / {(int)other} {unknown}");
                }
            }
        }

        output.WriteLine($"{compared} pairs of answers compared, {differing} differ");
        Assert.Equal(0, differing);
        Assert.True(compared > 100);
    }

    [Fact]
    public async Task The_same_id_and_the_same_identifier_in_both_are_two_things()
    {
        foreach (var (side, organisation) in new[] { (twins.Hill, "hill"), (twins.Vale, "vale") })
        {
            var set = new WriteSet();
            set.Create(new Hl7.Fhir.Model.Patient { Id = "the-same-id", Identifier = [new(FhirCalls.IdSystem, "shared-1")], Name = [new() { Family = "Shared" }] });
            await twins.StoreOf(organisation).CommitAsync(set);
            var (status, text) = await side.SendAsync(new Ask("conditional", "POST", "/fhir/Patient", FhirCalls.Person("Other", "shared-1"), $"identifier={FhirCalls.IdSystem}|shared-1"));
            Assert.Equal(HttpStatusCode.OK, status);
            Assert.Contains("the-same-id", text);
            Assert.Equal(1, (int)JsonNode.Parse((await side.SendAsync(new Ask("count", "GET", $"/fhir/Patient?identifier={FhirCalls.IdSystem}|shared-1&_summary=count"))).Text.Split("\n\n", 2)[1])!["total"]!);
        }
    }

    /// <summary>How long it takes to say no is the same for what the other has and for what nobody has.</summary>
    [Fact]
    public async Task Time_tells_nothing_either()
    {
        var (theirs, never) = (twins.Vale.Addresses.First(a => a.Type == "Patient").Id, Guid.CreateVersion7().ToString("D"));
        var (one, two) = (new List<long>(), new List<long>());
        for (var i = 0; i < 400; i++)
            foreach (var (id, times) in i % 2 == 0 ? new[] { (theirs, one), (never, two) } : [(never, two), (theirs, one)])
            {
                var began = TimeProvider.System.GetTimestamp();
                await twins.Hill.SendAsync(new Ask("read", "GET", $"/fhir/Patient/{id}"));
                times.Add(TimeProvider.System.GetElapsedTime(began).Ticks);
            }

        var (median, other) = (one.Order().ElementAt(200), two.Order().ElementAt(200));
        output.WriteLine($"median {median / 10.0:0} µs for the other's id, {other / 10.0:0} µs for one that never was");
        // The two ways are one and the same code on one and the same store; the bound only has to hold on a busy machine.
        Assert.InRange((double)median / other, 0.67, 1.5);
    }

    public sealed class Twins : AccessApp, IAsyncLifetime
    {
        // Before the service starts: a register that changes later is read within two seconds, and by then the first may have asked.
        public Twins()
        {
            foreach (var organisation in new[] { "hill", "vale" })
            {
                foreach (var role in new[] { "therapist", "student", "support-worker", "community-team", "records-officer", "system" })
                    Register(new TestClient($"{organisation}-{role}", organisation, role, ["system/*.cruds", "system/AuditEvent.rs", "api/*"]));
                // Somebody of the other organisation among them, whom it must not help to name.
                Register(new TestClient($"{organisation}-few", organisation, "system", ["system/*.cruds", "api/*"], people: [Side.Few("hill"), Side.Few("vale")]));
            }
        }

        public new Side Hill { get; private set; } = null!;

        public new Side Vale { get; private set; } = null!;

        public IEnumerable<TestClient> Others => More;

        async Task IAsyncLifetime.InitializeAsync()
        {
            await base.InitializeAsync();
            Hill = await Side.OfAsync(this, base.Hill, "Hillmarked");
            Vale = await Side.OfAsync(this, base.Vale, "Valemarked");
        }
    }

    /// <summary>One organisation: its record, and a caller who may see all of it.</summary>
    public sealed class Side
    {
        private readonly HttpClient _http;
        private readonly Dictionary<string, HttpClient> _others = [];

        private Side(HttpClient http, string mark) => (_http, Words) = (http, [mark, Secret(mark)]);

        /// <summary>Callers of each role, and one who was given few people.</summary>
        public List<string> Callers => [.. _others.Keys];

        /// <summary>Words that stand in this organisation's record and nowhere else; requests name the first, and never the second.</summary>
        public string[] Words { get; }

        public List<(string Type, string Id)> Addresses { get; } = [];

        public IEnumerable<string> Ids => Addresses.Select(a => a.Id);

        public string Person { get; private set; } = "";

        public string Programme { get; private set; } = "";

        public string Note { get; private set; } = "";

        /// <summary>As long as every other id.</summary>
        public static string Few(string organisation) => $"few-{organisation}".PadRight(36, '0');

        private static string Secret(string mark) => mark.Replace("marked", "secretword", StringComparison.Ordinal);

        public static async Task<Side> OfAsync(Twins app, TestClient client, string mark)
        {
            var side = new Side(await app.AsAsync(client), mark);
            // Lowest letters, so that codes may hold it too.
            var small = mark[..4].ToLowerInvariant();
            foreach (var code in new[] { "coin-stacking", "key-turning", "towel-wiping" })
                await side.MakeAsync("/api/exercises", TradeApp.With(TradeApp.Exercise, ("code", $"\"{code}\""), ("title", $"\"{code} {mark} {Secret(mark)}\"")));
            await side.MakeAsync("/api/templates", TradeApp.With(TradeApp.Template, ("title", $"\"Small tasks {mark} {Secret(mark)}\"")));
            for (var i = 0; i < 3; i++)
            {
                side.Person = (string)(await side.MakeAsync("/api/people", TradeApp.With(TradeApp.Person,
                    ("familyName", $"\"{mark}\""), ("givenNames", $"[\"{Secret(mark)}\"]"), ("carer", $$"""{ "name": "Quill {{mark}} {{Secret(mark)}}", "relationship": "sister", "phone": "01632 960099" }"""),
                    ("identifier", $$"""{ "system": "https://clinic.test/id", "value": "{{small}}-{{i}}" }"""))))["id"]!;
                side.Programme = (string)(await side.MakeAsync("/api/programmes", TradeApp.With(TradeApp.Programme(side.Person).ToJsonString(), ("levelReason", $"\"Seen by {mark} {Secret(mark)}.\""))))["id"]!;
                var session = await side.MakeAsync("/api/sessions", TradeApp.Session((side.Person, side.Programme), ("remark", $"\"Said to {mark} {Secret(mark)}.\"")));
                side.Note = ((string)session["note"]!["address"]!).Split('/')[^1];
            }

            var few = new WriteSet();
            few.Create(new Hl7.Fhir.Model.Patient { Id = Few(client.Organisation), Name = [new() { Family = mark, Given = [Secret(mark)] }] });
            await app.StoreOf(client.Organisation).CommitAsync(few);
            foreach (var other in app.Others.Where(o => o.Organisation == client.Organisation))
                side._others[other.Id[(client.Organisation.Length + 1)..]] = await app.AsAsync(other);
            foreach (var version in await app.StoreOf(client.Organisation).ChangesAfterAsync(0, [.. RehabRecords.Fhir.ResourceRegistry.Standard.Kinds.Select(k => k.Type)], 10_000))
                if (!side.Addresses.Contains((version.Type, version.Id)) && version.Type != "AuditEvent")
                    side.Addresses.Add((version.Type, version.Id));
            return side;
        }

        public async Task<(HttpStatusCode Status, string Text)> SendAsync(Ask ask, string caller = "all")
        {
            using var request = new HttpRequestMessage(new HttpMethod(ask.Method), ask.Path);
            if (ask.Body is not null)
                request.Content = new StringContent(ask.Body, Encoding.UTF8, ask.Path.StartsWith("/api", StringComparison.Ordinal) ? "application/json" : "application/fhir+json");
            if (ask.IfNoneExist is not null)
                request.Headers.TryAddWithoutValidation("If-None-Exist", ask.IfNoneExist);
            request.Headers.TryAddWithoutValidation("If-Match", "W/\"1\"");
            request.Headers.TryAddWithoutValidation("Prefer", "respond-async");
            using var response = await _others.GetValueOrDefault(caller, _http).SendAsync(request);
            var headers = string.Join('\n', response.Headers.Concat(response.Content.Headers).Where(h => !h.Key.Equals("Date", StringComparison.OrdinalIgnoreCase) && !h.Key.Equals("X-Request-Id", StringComparison.OrdinalIgnoreCase)).Select(h => $"{h.Key}: {string.Join(',', h.Value)}"));
            return (response.StatusCode, headers + "\n\n" + await response.Content.ReadAsStringAsync());
        }

        private async Task<JsonNode> MakeAsync(string path, JsonNode body)
        {
            var (status, text) = await SendAsync(new Ask("make", "POST", path, body.ToJsonString()));
            Assert.True((int)status is 200 or 201, $"{path} {(int)status}: {text}");
            return JsonNode.Parse(text[(text.IndexOf("\n\n", StringComparison.Ordinal) + 2)..])!;
        }
    }

    /// <summary>One request.</summary>
    public sealed record Ask(string Kind, string Method, string Path, string? Body = null, string? IfNoneExist = null)
    {
        private static readonly string[] Searches =
        [
            "Patient", "Patient?name={word}", "Patient?_has:Observation:subject:code:missing=false", "Patient?identifier=https://clinic.test/id|{small}-1", "Patient?_id={person}", "Patient/{person}/Observation", "Patient/{person}/*",
            "Observation?subject=Patient/{person}", "Observation?patient.name={word}", "Observation?subject:Patient.identifier=https://clinic.test/id|{small}-0", "Observation?_include=*&_include:iterate=*", "Procedure?_revinclude=*",
            "Observation?subject:missing=true", "CarePlan?subject:identifier=https://clinic.test/id|{small}-0", "CarePlan?_include=CarePlan:subject&_revinclude=Procedure:based-on", "ServiceRequest?_sort=-_lastUpdated&_count=5", "Composition?_total=accurate",
            "RelatedPerson?name={word}", "ActivityDefinition?title:contains={word}", "PlanDefinition?_summary=count", "Provenance?target=CarePlan/{programme}", "Goal?_elements=subject", "Flag?patient={person}", "Device", "AuditEvent?patient={person}",
        ];

        private static readonly string[] Pages = ["/api/people", "/api/people/{person}", "/api/people/{person}/progress", "/api/programmes?person={person}", "/api/programmes/{programme}", "/api/sessions?programme={programme}", "/api/notes?person={person}", "/api/notes/{note}",
            "/api/notes/{note}/versions", "/api/flags?person={person}", "/api/exercises", "/api/templates", "/api/measures?person={person}", "/api/people/{person}/consents", "/api/people/{person}/record", "/api/programmes/{programme}/exchange?recipient=Organization/x"];

        public string Whole => $"{Path} {Body} {IfNoneExist}";

        public Ask With(string id, string other) => this with { Path = Path.Replace(id, other, StringComparison.Ordinal), Body = Body?.Replace(id, other, StringComparison.Ordinal), IfNoneExist = IfNoneExist?.Replace(id, other, StringComparison.Ordinal) };

        /// <summary>Every way to ask about one resource.</summary>
        public static IEnumerable<Ask> About(string type, string id)
        {
            yield return new("read", "GET", $"/fhir/{type}/{id}");
            yield return new("vread", "GET", $"/fhir/{type}/{id}/_history/1");
            yield return new("history", "GET", $"/fhir/{type}/{id}/_history");
            yield return new("search", "GET", $"/fhir/{type}?_id={id}");
            yield return new("head", "HEAD", $"/fhir/{type}/{id}");
            yield return new("delete", "DELETE", $"/fhir/{type}/{id}");
            if (type == "Patient")
            {
                yield return new("everything", "GET", $"/fhir/Patient/{id}/$everything");
                yield return new("api", "GET", $"/api/people/{id}");
                yield return new("api", "GET", $"/api/people/{id}/progress");
                yield return new("record", "GET", $"/api/people/{id}/record");
                yield return new("reference", "POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{id}"));
                yield return new("find", "GET", $"/fhir/Observation?subject=Patient/{id}&_total=accurate");
            }

            if (type == "Composition")
                yield return new("document", "GET", $"/fhir/Composition/{id}/$document");
            if (type == "CarePlan")
                yield return new("api", "GET", $"/api/programmes/{id}");
        }

        public static Ask Random(Random random, Side mine, Side theirs)
        {
            // Ids of either side, in any place.
            var side = random.Next(2) == 0 ? mine : theirs;
            string Fill(string text) => text.Replace("{word}", side.Words[0]).Replace("{small}", side.Words[0][..4].ToLowerInvariant()).Replace("{person}", side.Person).Replace("{programme}", side.Programme).Replace("{note}", side.Note);
            var (type, id) = side.Addresses[random.Next(side.Addresses.Count)];
            switch (random.Next(14))
            {
                case 0: return new("read", "GET", $"/fhir/{type}/{id}");
                case 1: return new("history", "GET", random.Next(3) switch { 0 => $"/fhir/{type}/{id}/_history", 1 => $"/fhir/{type}/_history?_count=20", _ => "/fhir/_history?_count=20" });
                case 2 or 3 or 4: return new("search", "GET", "/fhir/" + Fill(Searches[random.Next(Searches.Length)]));
                case 5: return new("everything", "GET", $"/fhir/Patient/{side.Person}/$everything{(random.Next(2) == 0 ? "?_count=10" : "")}");
                case 6 or 7: return new("api", "GET", Fill(Pages[random.Next(Pages.Length)]));
                case 8: return new("put", "PUT", $"/fhir/Observation/{(side == theirs ? side.Addresses.First(a => a.Type == "Observation").Id : Guid.NewGuid().ToString())}", FhirCalls.Weight($"Patient/{side.Person}", "x").Replace("\"x\"", $"\"{side.Addresses.First(a => a.Type == "Observation").Id}\""));
                case 9: return new("if-none-exist", "POST", "/fhir/Patient", FhirCalls.Person("Newcomer", $"{side.Words[0][..4].ToLowerInvariant()}-{random.Next(3)}"), $"identifier=https://clinic.test/id|{side.Words[0][..4].ToLowerInvariant()}-{random.Next(3)}");
                case 10: return new("reference", "POST", "/fhir/Observation", FhirCalls.Weight($"Patient/{theirs.Person}"));
                case 11:
                    var (goneType, goneId) = theirs.Addresses[random.Next(theirs.Addresses.Count)];
                    return new("delete", "DELETE", $"/fhir/{goneType}/{goneId}");
                case 12: return new("document", "GET", $"/fhir/Composition/{side.Note}/$document");
                default:
                    return new("batch", "POST", "/fhir", FhirCalls.Bundle("batch", FhirCalls.Entry("GET", $"{type}/{id}"), FhirCalls.Entry("GET", Fill(Searches[random.Next(Searches.Length)])), FhirCalls.Entry("GET", $"Patient/{theirs.Person}/_history"),
                        FhirCalls.Entry("DELETE", $"Patient/{theirs.Person}", ifMatch: "W/\"1\"")).ToJsonString());
            }
        }
    }

    private static string Same(string text, string id) => System.Text.RegularExpressions.Regex.Replace(text.Replace(id, "ID", StringComparison.Ordinal), "\"(requestId|lastUpdated)\":\"[^\"]*\"|[Rr]equest id [0-9a-f]+", "");
}
