using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Access;

/// <summary>
/// Random records of many people, tied to one another in every way, some of them changed from one person to another; and callers who were given some of
/// the people. What each is answered is what a simple model says: a version may be seen when the person it names is one of theirs, or when it names
/// nobody and is of a kind that all share.
/// </summary>
public sealed class PeopleGraphTests(PeopleGraphTests.Graph app, ITestOutputHelper output) : IClassFixture<PeopleGraphTests.Graph>
{
    private static readonly string[] Shared = ["Practitioner", "Organization", "Device", "ActivityDefinition", "PlanDefinition"];
    private static readonly string[] OfPeople = ["Observation", "Procedure", "CarePlan", "Goal", "Flag", "Task", "RelatedPerson", "DocumentReference", "Communication", "Composition"];

    public sealed class Graph : AccessApp
    {
        public const int People = 8;

        public Graph()
        {
            Settings["RehabRecords:Access:RequestsPerMinute"] = "1000000";
            var random = new Random(7);
            for (var caller = 0; caller < 4; caller++)
                Register(new TestClient($"hill-graph-{caller}", "hill", "system", ["system/*.cruds", "api/*"], people: [.. Enumerable.Range(0, People).Where(_ => random.Next(3) == 0).Select(Person).DefaultIfEmpty(Person(caller))]));
        }

        public IReadOnlyList<TestClient> Limited => More;

        public static string Person(int number) => $"person-{number}";
    }

    /// <summary>A version as the model knows it.</summary>
    private sealed record Known(string Type, string Id, int Version, string? Person, bool Deleted)
    {
        public bool IsFor(IEnumerable<string> people) => Person is null ? Shared.Contains(Type) : people.Contains(Person);
    }

    [Fact]
    public async Task Each_caller_is_answered_from_the_people_they_were_given_and_from_nobody_else()
    {
        var versions = await FillAsync(app.StoreOf("hill"), new Random(11));
        var current = versions.GroupBy(v => (v.Type, v.Id)).Select(g => g.MaxBy(v => v.Version)!).ToList();
        var (requests, shown, hidden) = (0, 0, 0);
        foreach (var client in app.Limited)
        {
            var people = client.People!;
            using var http = await app.AsAsync(client);
            async Task<(HttpStatusCode Status, JsonNode Body)> GetAsync(string path)
            {
                requests++;
                var (status, body) = await http.SendAsync("GET", path);
                // Whatever is answered, no word of somebody who is not theirs is in it.
                foreach (var other in Enumerable.Range(0, Graph.People).Select(Graph.Person).Except(people))
                    Assert.False(body.ToJsonString().Contains(Secret(other), StringComparison.Ordinal), $"{client.Id} of {string.Join(',', people)}: GET {path} tells of {other}: {body}");
                return (status, body);
            }

            foreach (var type in current.Select(c => c.Type).Distinct())
            {
                var allowed = current.Where(c => c.Type == type && !c.Deleted && c.IsFor(people)).Select(c => c.Id).Order(StringComparer.Ordinal).ToList();
                foreach (var query in new[] { "_count=500", "_count=3", "_sort=-_lastUpdated&_count=500", "_count=500&_include=*&_revinclude=*", "_count=4&_sort=_id" })
                    Assert.Equal(allowed, (await MatchesAsync(GetAsync, $"/fhir/{type}?{query}")).Order(StringComparer.Ordinal));
                Assert.Equal(allowed.Count, (int)(await GetAsync($"/fhir/{type}?_summary=count")).Body["total"]!);
                var history = versions.Where(v => v.Type == type && v.IsFor(people)).Select(v => $"{v.Id}/{v.Version}").Order(StringComparer.Ordinal);
                Assert.Equal(history, (await HistoryAsync(GetAsync, $"/fhir/{type}/_history?_count=50")).Order(StringComparer.Ordinal));
            }

            foreach (var one in current)
            {
                var seen = one.IsFor(people);
                var expected = !seen ? HttpStatusCode.NotFound : one.Deleted ? HttpStatusCode.Gone : HttpStatusCode.OK;
                Assert.True((await GetAsync($"/fhir/{one.Type}/{one.Id}")).Status == expected, $"{client.Id} of {string.Join(',', people)}: {one} should be {expected}");
                (shown, hidden) = seen ? (shown + 1, hidden) : (shown, hidden + 1);
            }

            foreach (var one in versions.Where(v => !v.Deleted))
                Assert.Equal(one.IsFor(people), (await GetAsync($"/fhir/{one.Type}/{one.Id}/_history/{one.Version}")).Status == HttpStatusCode.OK);
            for (var person = 0; person < Graph.People; person++)
            {
                var id = Graph.Person(person);
                Assert.Equal(people.Contains(id), (await GetAsync($"/fhir/Patient/{id}/$everything")).Status == HttpStatusCode.OK);
                var theirs = current.Where(c => c.Type == "Observation" && !c.Deleted && c.Person == id && people.Contains(id)).Select(c => c.Id).Order(StringComparer.Ordinal);
                Assert.Equal(theirs, (await MatchesAsync(GetAsync, $"/fhir/Observation?subject=Patient/{id}&_count=500")).Order(StringComparer.Ordinal));
                Assert.Equal(people.Contains(id), (await GetAsync($"/api/people/{id}")).Status == HttpStatusCode.OK);
            }
        }

        output.WriteLine($"{versions.Count} versions of {current.Count} resources of {Graph.People} people; {app.Limited.Count} callers with {string.Join(", ", app.Limited.Select(c => c.People!.Length))} people; {requests} requests; of resources asked for one by one {shown} were to be shown and {hidden} not");
        Assert.True(shown > 100 && hidden > 100);
    }

    private static string Secret(string person) => $"Secretof{person.Replace("-", "", StringComparison.Ordinal)}word";

    private static async Task<List<Known>> FillAsync(RecordStore store, Random random)
    {
        var versions = new List<Known>();
        var made = new List<(string Type, string Id, string? Person)>();
        string? Pick(string type) => made.Where(m => m.Type == type).OrderBy(_ => random.Next()).FirstOrDefault() is (_, { } id, _) ? $"{type}/{id}" : null;
        async Task WriteAsync(Resource resource, string? person, int from)
        {
            var set = new WriteSet();
            if (from == 0)
                set.Create(resource);
            else
                set.Update(resource, from);
            await store.CommitAsync(set);
            versions.Add(new(resource.TypeName, resource.Id!, from + 1, person, false));
        }

        for (var person = 0; person < Graph.People; person++)
        {
            await WriteAsync(new Patient { Id = Graph.Person(person), Name = [new() { Family = Secret(Graph.Person(person)) }] }, Graph.Person(person), 0);
            made.Add(("Patient", Graph.Person(person), Graph.Person(person)));
        }

        for (var i = 0; i < 120; i++)
        {
            var type = random.Next(6) == 0 ? Shared[random.Next(Shared.Length)] : OfPeople[random.Next(OfPeople.Length)];
            var id = $"r-{i}";
            var person = Shared.Contains(type) ? null : Graph.Person(random.Next(Graph.People));
            await WriteAsync(Make(type, id, person, Pick), person, 0);
            made.Add((type, id, person));
            if (person is null)
                continue;
            // Some are of somebody else afterwards, some are deleted, some are changed.
            for (var version = 1; random.Next(3) == 0; version++)
            {
                if (random.Next(5) == 0)
                {
                    var set = new WriteSet();
                    set.Delete(type, id, version);
                    try
                    {
                        await store.CommitAsync(set);
                    }
                    catch (RehabRecords.Fhir.RefusedException)
                    {
                        // Something points at it.
                        break;
                    }

                    versions.Add(new(type, id, version + 1, person, true));
                    made.RemoveAll(m => m.Id == id);
                    break;
                }

                person = random.Next(2) == 0 ? person : Graph.Person(random.Next(Graph.People));
                await WriteAsync(Make(type, id, person, Pick), person, version);
            }
        }

        return versions;
    }

    /// <summary>A resource that names its person and points at others, whosever they are.</summary>
    private static Resource Make(string type, string id, string? person, Func<string, string?> pick)
    {
        ResourceReference To(string kind) => pick(kind) is { } found ? new(found) : new() { Display = "nobody" };
        var subject = new ResourceReference($"Patient/{person}");
        var word = person is null ? "shared" : Secret(person);
        Resource made = type switch
        {
            "Practitioner" => new Practitioner { Name = [new() { Family = word }] },
            "Organization" => new Organization { Name = word },
            "Device" => new Device { DeviceName = [new() { Name = word, Type = DeviceNameType.UserFriendlyName }] },
            "ActivityDefinition" => new ActivityDefinition { Status = PublicationStatus.Active, Title = word },
            "PlanDefinition" => new PlanDefinition { Status = PublicationStatus.Active, Title = word },
            "Observation" => new Observation { Status = ObservationStatus.Final, Code = new() { Text = word }, Subject = subject, HasMember = [To("Observation")], Performer = [To("Practitioner")], Focus = [To("Goal")] },
            "Procedure" => new Procedure { Status = EventStatus.Completed, Code = new() { Text = word }, Subject = subject, BasedOn = [To("CarePlan")], Report = [To("Composition")], ReasonReference = [To("Observation")] },
            "CarePlan" => new CarePlan { Status = RequestStatus.Active, Intent = CarePlan.CarePlanIntent.Plan, Title = word, Subject = subject, Goal = [To("Goal")], Author = To("Practitioner") },
            "Goal" => new Goal { LifecycleStatus = Goal.GoalLifecycleStatus.Active, Description = new() { Text = word }, Subject = subject, OutcomeReference = [To("Observation")] },
            "Flag" => new Flag { Status = Flag.FlagStatus.Active, Code = new() { Text = word }, Subject = subject, Author = To("Practitioner") },
            "Task" => new Hl7.Fhir.Model.Task { Status = Hl7.Fhir.Model.Task.TaskStatus.Ready, Intent = Hl7.Fhir.Model.Task.TaskIntent.Order, Description = word, For = subject, Focus = To("CarePlan") },
            "RelatedPerson" => new RelatedPerson { Patient = subject, Name = [new() { Family = word }] },
            "DocumentReference" => new DocumentReference { Status = DocumentReferenceStatus.Current, Subject = subject, Description = word, Content = [new() { Attachment = new() { ContentType = "text/plain", Title = word } }] },
            "Communication" => new Communication { Status = EventStatus.Completed, Subject = subject, Topic = new() { Text = word }, About = [To("CarePlan")] },
            _ => new Composition { Status = CompositionStatus.Final, Type = new() { Text = word }, Date = "2026-03-02", Title = word, Subject = subject, Author = [To("Practitioner")], Section = [new() { Title = word, Entry = [To("Observation"), To("Procedure")] }] },
        };
        made.Id = id;
        return made;
    }

    private static async Task<List<string>> MatchesAsync(Func<string, Task<(HttpStatusCode Status, JsonNode Body)>> get, string path)
    {
        var found = new List<string>();
        await foreach (var page in PagesAsync(get, path))
            found.AddRange((page["entry"]?.AsArray() ?? []).Where(e => (string?)e!["search"]!["mode"] == "match").Select(e => (string)e!["resource"]!["id"]!));
        return found;
    }

    private static async Task<List<string>> HistoryAsync(Func<string, Task<(HttpStatusCode Status, JsonNode Body)>> get, string path)
    {
        var found = new List<string>();
        await foreach (var page in PagesAsync(get, path))
            found.AddRange((page["entry"]?.AsArray() ?? []).Select(e => e!["resource"] is { } resource
                ? $"{resource["id"]}/{resource["meta"]!["versionId"]}"
                : $"{((string)e["request"]!["url"]!).Split('/')[^1]}/{((string)e["response"]!["etag"]!).Trim('W', '/', '"')}"));
        return found;
    }

    private static async IAsyncEnumerable<JsonNode> PagesAsync(Func<string, Task<(HttpStatusCode Status, JsonNode Body)>> get, string path)
    {
        for (var next = (string?)path; next is not null;)
        {
            var (status, page) = await get(next);
            Assert.True(status == HttpStatusCode.OK, $"{next} {(int)status}: {page}");
            yield return page;
            next = page["link"]!.AsArray().FirstOrDefault(l => (string)l!["relation"]! == "next") is { } link ? ((string)link["url"]!)[TestApp.PublicUrl.Length..] : null;
        }
    }
}
