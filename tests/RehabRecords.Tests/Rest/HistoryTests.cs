using System.Globalization;
using System.Net;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>History of a type and of everything. A service of its own, so that what is in it is known.</summary>
public sealed class HistoryTests : IClassFixture<HistoryTests.Written>
{
    private readonly Written _app;

    public HistoryTests(Written app) => _app = app;

    /// <summary>A day apart each: Ada is created, Ben is created, a result of Ada, Ada is changed, Ben is deleted.</summary>
    public sealed class Written : TestApp, IAsyncLifetime
    {
        public static readonly DateTimeOffset First = new(2026, 3, 1, 9, 0, 0, TimeSpan.Zero);

        public Written() => Clock = new TestClock(First);

        public string Ada { get; private set; } = "";

        public string Ben { get; private set; } = "";

        public string Result { get; private set; } = "";

        async Task IAsyncLifetime.InitializeAsync()
        {
            var clock = (TestClock)Clock!;
            Ada = await this.CreateAsync(Person("Ada"));
            clock.Now = First.AddDays(1);
            Ben = await this.CreateAsync(Person("Ben"));
            clock.Now = First.AddDays(2);
            Result = await this.CreateAsync(Weight($"Patient/{Ada}"));
            clock.Now = First.AddDays(3);
            using var update = await this.SendAsync("PUT", $"/Patient/{Ada}", Person("Adanew", id: Ada), FhirCalls.Json, ("If-Match", "W/\"1\""));
            Assert.Equal(HttpStatusCode.OK, update.StatusCode);
            clock.Now = First.AddDays(4);
            using var delete = await this.SendAsync("DELETE", $"/Patient/{Ben}", null, FhirCalls.Json, ("If-Match", "W/\"1\""));
            Assert.Equal(HttpStatusCode.NoContent, delete.StatusCode);
        }
    }

    private async Task<Bundle> HistoryAsync(string path)
    {
        using var response = await _app.SendAsync("GET", path);
        Assert.True(response.StatusCode == HttpStatusCode.OK, response.Text());
        var history = await response.FhirAsync<Bundle>();
        Assert.Equal(Hl7.Fhir.Model.Bundle.BundleType.History, history.Type);
        Assert.All(TestApp.SharedValidator.Validate(history), issue => Assert.False(issue.Refuses, issue.Message));
        return history;
    }

    /// <summary>What was done to whom, in the words of the tests.</summary>
    private string Told(Bundle.EntryComponent entry)
    {
        Assert.NotNull(entry.Response);
        Assert.Equal(entry.Request!.Method == Hl7.Fhir.Model.Bundle.HTTPVerb.DELETE, entry.Resource is null);
        var who = entry.FullUrl!.Split('/')[^1] switch { var id when id == _app.Ada => "Ada", var id when id == _app.Ben => "Ben", _ => "Result" };
        return $"{entry.Request.Method} {who}";
    }

    [Theory]
    [InlineData("/_history", "DELETE Ben, PUT Ada, POST Result, POST Ben, POST Ada")]
    [InlineData("/Patient/_history", "DELETE Ben, PUT Ada, POST Ben, POST Ada")]
    [InlineData("/Observation/_history", "POST Result")]
    [InlineData("/Goal/_history", "")]
    [InlineData("/_history?_since=2026-03-03T09:00:00Z", "DELETE Ben, PUT Ada, POST Result")]
    [InlineData("/_history?_since=2026-03-03T09:00:00.001Z", "DELETE Ben, PUT Ada")]
    [InlineData("/Patient/_history?_since=2026-03-02T10:00:00%2B01:00", "DELETE Ben, PUT Ada, POST Ben")]
    [InlineData("/_history?_since=2030-01-01T00:00:00Z", "")]
    // What was current at some time of the day: Ben's deletion ends him, and on the days after it is no news.
    [InlineData("/Patient/_history?_at=2026-03-01", "POST Ada")]
    [InlineData("/Patient/_history?_at=2026-03-03", "POST Ben, POST Ada")]
    [InlineData("/Patient/_history?_at=2026-03-04", "PUT Ada, POST Ben, POST Ada")]
    [InlineData("/Patient/_history?_at=2026-03-05", "DELETE Ben, PUT Ada, POST Ben")]
    [InlineData("/Patient/_history?_at=2026-03-06", "PUT Ada")]
    [InlineData("/Patient/_history?_at=2026-02", "")]
    [InlineData("/Patient/_history?_at=2026-03", "DELETE Ben, PUT Ada, POST Ben, POST Ada")]
    [InlineData("/_history?_count=2", "DELETE Ben, PUT Ada")]
    public async Task It_tells_what_was_done_the_newest_first(string path, string told) =>
        Assert.Equal(told, string.Join(", ", (await HistoryAsync(path)).Entry.Select(Told)));

    [Fact]
    public async Task One_resource_can_be_asked_for_a_time_too()
    {
        Assert.Equal(["PUT Ada"], (await HistoryAsync($"/Patient/{_app.Ada}/_history?_at=2026-03-05")).Entry.Select(Told));
        Assert.Equal(2, (await HistoryAsync($"/Patient/{_app.Ada}/_history?_summary=count")).Total);
    }

    [Theory]
    [InlineData("/_history", 5)]
    [InlineData("/Patient/_history", 4)]
    public async Task The_number_can_be_asked_for_alone(string path, int total)
    {
        var counted = await HistoryAsync(path + "?_summary=count");
        Assert.Equal(total, counted.Total);
        Assert.Empty(counted.Entry);
        Assert.Equal(total, (await HistoryAsync(path + "?_count=0")).Total);
    }

    [Fact]
    public async Task Pages_follow_each_other_without_a_gap_whatever_is_written_meanwhile()
    {
        var other = new TestApp();
        for (var i = 0; i < 7; i++)
            await other.CreateAsync(Person($"Old{i}"));
        var seen = new List<string>();
        var next = "/Patient/_history?_count=3";
        while (next is not null)
        {
            using var response = await other.SendAsync("GET", next);
            var page = await response.FhirAsync<Bundle>();
            seen.AddRange(page.Entry.Select(e => ((Patient)e.Resource!).Name[0].Family!));
            await other.CreateAsync(Person("Between"));
            next = page.NextLink?.ToString()[TestApp.FhirBase.Length..];
        }
        Assert.Equal(["Old6", "Old5", "Old4", "Old3", "Old2", "Old1", "Old0"], seen);
        await ((IAsyncLifetime)other).DisposeAsync();
    }

    [Theory]
    [InlineData("/_history?_cursor=abc", "_cursor")]
    [InlineData("/_history?_cursor=!", "_cursor")]
    [InlineData("/_history?_at=soon", "_at")]
    [InlineData("/_history?_at=2026&_at=2027", "2 times")]
    [InlineData("/_history?_count=-1", "_count")]
    [InlineData("/_history?_sort=_id", "_sort")]
    [InlineData("/_history?_list=1", "_list")]
    [InlineData("/_history?_elements=name", "several")]
    [InlineData("/_history?_summary=most", "_summary")]
    [InlineData("/Patient/_history?_elements=nose", "nose")]
    public async Task What_cannot_be_asked_is_refused(string path, string says)
    {
        using var response = await _app.SendAsync("GET", path);
        await response.RefusedAsync(400, says);
    }

    [Fact]
    public async Task A_place_in_one_history_is_none_in_another()
    {
        var next = (await HistoryAsync("/Patient/_history?_count=1")).NextLink!.ToString();
        using var response = await _app.SendAsync("GET", "/_history?" + next[(next.IndexOf("_cursor", StringComparison.Ordinal))..]);
        await response.RefusedAsync(400, "_cursor");
    }

    [Fact]
    public async Task Lenient_handling_passes_over_what_is_not_known_and_the_self_link_says_so()
    {
        using var response = await _app.SendAsync("GET", "/Patient/_history?_list=1&_count=1", null, Json, ("Prefer", "handling=lenient"));
        Assert.Equal($"{TestApp.FhirBase}/Patient/_history?_count=1", (await response.FhirAsync<Bundle>()).SelfLink!.ToString());
    }

    [Fact]
    public async Task A_history_can_be_shown_in_part()
    {
        var history = await HistoryAsync("/Patient/_history?_elements=birthDate");
        var persons = history.Entry.Select(e => e.Resource).OfType<Patient>().ToList();
        Assert.Equal(3, persons.Count);
        Assert.All(persons, p => Assert.Equal((0, "1950-04-03", true), (p.Name.Count, p.BirthDate, p.Meta!.Tag.Exists(t => t.Code == "SUBSETTED"))));
        Assert.Equal(string.Create(CultureInfo.InvariantCulture, $"{Written.First.AddDays(3):yyyy-MM-dd}"), persons[0].Meta!.LastUpdated!.Value.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture));
    }

    [Theory]
    [InlineData("/_history")]
    [InlineData("/Patient/_history")]
    public async Task HEAD_gives_the_headers_alone(string path)
    {
        using var get = await _app.SendAsync("GET", path);
        using var head = await _app.SendAsync("HEAD", path);
        Assert.Equal((HttpStatusCode.OK, get.Content.Headers.ContentLength), (head.StatusCode, head.Content.Headers.ContentLength));
        Assert.Empty(await head.Content.ReadAsByteArrayAsync());
    }

    [Fact]
    public async Task It_can_be_read_inside_a_batch()
    {
        using var response = await _app.SendAsync("POST", "", Bundle("batch", Entry("GET", "_history?_count=1"), Entry("GET", "Patient/_history"), Entry("GET", "_history?_sort=x")).ToJsonString());
        var answer = await response.FhirAsync<Bundle>();
        Assert.Equal(["200", "200", "400"], answer.Entry.Select(e => e.Response!.Status![..3]));
        Assert.Equal(4, ((Bundle)answer.Entry[1].Resource!).Entry.Count);
    }
}
