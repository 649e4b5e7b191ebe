using System.Net;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

/// <summary>The recording page over HTTP: as a plain form, and as its script sends it.</summary>
public sealed partial class HomePageTests(TradeApp app) : IClassFixture<TradeApp>
{
    private const string By = """{ "name": "Rowan Invented", "role": "physiotherapist" }""";

    [Fact]
    public async Task The_page_shows_a_first_name_and_the_exercises_and_nothing_else_of_the_record()
    {
        var of = await LinkAsync();
        using var response = await app.Http.GetAsync(of.Path);
        var html = WebUtility.HtmlDecode(await response.Content.ReadAsStringAsync());
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        foreach (var part in new[] { "Practice of Perrin", "Stacking coins, right hand", "3 sets of 12 repetitions", "Turning a key, right hand", "Sudden drooping of the face", "Call the emergency number" })
            Assert.Contains(part, html, StringComparison.Ordinal);
        var ids = (await app.GetAsync($"/fhir/ServiceRequest?based-on=CarePlan/{of.Programme}"))["entry"]!.AsArray().Select(e => (string)e!["resource"]!["id"]!);
        // Neither family name, carer, birth date, diagnosis, precautions, programme nor any id of the record.
        foreach (var secret in new[] { "Placeholder", "Quill", "1956", "01632 960099", "Small tasks", "Smaller things", "Box and block", "Fingertips", of.Person, of.Programme, of.Link }.Concat(ids))
            Assert.DoesNotContain(secret, html, StringComparison.Ordinal);
        Assert.Equal("no-store", response.Headers.CacheControl!.ToString());
        Assert.Equal("no-referrer", response.Headers.GetValues("Referrer-Policy").Single());
        Assert.Equal("noindex, nofollow", response.Headers.GetValues("X-Robots-Tag").Single());
        Assert.Contains("worker-src 'self'", response.Headers.GetValues("Content-Security-Policy").Single());
        Assert.DoesNotContain("style=", html);
        Assert.DoesNotMatch("<script(?! type=\"module\" src=)", html);
    }

    [Fact]
    public async Task A_plain_form_becomes_a_session_and_what_was_not_said_stays_unknown()
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        var (coins, key) = (page.Handle("Stacking coins"), page.Handle("Turning a key"));
        using var answer = await SendAsync(of, page.Form(($"e-{coins}", "done"), ($"n-{coins}", "36"), ($"p-{coins}", "2"), ($"h-{coins}", "hands-on"),
            ($"e-{key}", "left-out"), ($"w-{key}", "fatigue"), ("tell", "Went well.")));
        Assert.Equal(HttpStatusCode.SeeOther, answer.StatusCode);
        Assert.Equal($"{of.Path}/sent/{page.Entry}", answer.Headers.Location!.ToString());
        Assert.Contains("It was sent", await app.Http.GetStringAsync(answer.Headers.Location));

        var session = await SessionAsync(of);
        Assert.Equal("carer", (string)session["reportedBy"]!["role"]!);
        Assert.Equal($"urn:uuid:{page.Entry}", (string)session["identifier"]!["value"]!);
        Assert.Equal("2026-06-15T13:00:00+01:00", (string)session["at"]!);
        Assert.Equal("Went well.", (string)session["remarks"]![0]!);
        var done = session["exercises"]!.AsArray().Single(e => (string)e!["exercise"]! == "coin-stacking")!;
        Assert.Equal((36, 2, "hands-on"), ((int)done["repetitions"]!, (int)done["painDuring"]!, (string)done["help"]!));
        foreach (var unsaid in new[] { "sets", "minutes", "painBefore", "painAfter", "fatigue", "quality" })
            Assert.Null(done[unsaid]);
        var left = session["exercises"]!.AsArray().Single(e => (string)e!["exercise"]! == "key-turning")!;
        Assert.Equal("fatigue", (string)left["skipped"]!["reason"]!);
    }

    [Fact]
    public async Task The_same_page_sent_twice_is_one_session_though_the_clock_moves_on()
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        var form = page.Form(($"e-{page.Handle("Stacking coins")}", "done"));
        using var first = await SendAsync(of, form);
        var before = app.State();
        app.Time.Now = app.Time.Now.AddMinutes(2);
        try
        {
            using var second = await SendAsync(of, form);
            Assert.Equal(first.Headers.Location, second.Headers.Location);
            var said = await ByScriptAsync(of, form);
            Assert.True((bool)said["sent"]!);
        }
        finally
        {
            app.Time.Now = app.Time.Now.AddMinutes(-2);
        }

        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task Other_entries_under_the_same_page_are_asked_about_and_nothing_is_doubled_or_lost()
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        var coins = page.Handle("Stacking coins");
        using var first = await SendAsync(of, page.Form(($"e-{coins}", "done")));
        using var second = await SendAsync(of, page.Form(($"e-{coins}", "done"), ($"n-{coins}", "12")));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, second.StatusCode);
        var again = Page.Of(await second.Content.ReadAsStringAsync());
        Assert.Contains("was sent before with other entries", again.Html);
        Assert.NotEqual(page.Entry, again.Entry);
        Assert.Matches($"name=\"n-{coins}\"[^>]*value=\"12\"", again.Html);
        using var third = await SendAsync(of, again.Form(($"e-{coins}", "done"), ($"n-{coins}", "12")));
        Assert.Equal(HttpStatusCode.SeeOther, third.StatusCode);
        Assert.Equal(2, (await app.GetAsync($"/api/sessions?programme={of.Programme}")).AsArray().Count);
    }

    [Fact]
    public async Task A_red_flag_stands_before_everything_else_of_the_answer()
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        using var answer = await SendAsync(of, page.Form(("flag", "speech-change"), ("flag", "skin-damage")));
        var html = WebUtility.HtmlDecode(await app.Http.GetStringAsync(answer.Headers.Location));
        var call = html.IndexOf("Call the emergency number", StringComparison.Ordinal);
        Assert.InRange(call, 0, html.IndexOf("It was sent", StringComparison.Ordinal));
        Assert.InRange(html.IndexOf("Damaged skin", StringComparison.Ordinal), call, html.IndexOf("It was sent", StringComparison.Ordinal));
        Assert.Equal(2, (await app.GetAsync($"/api/flags?person={of.Person}")).AsArray().Count);
    }

    [Fact]
    public async Task Pain_above_the_limit_is_urgent_too()
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        var coins = page.Handle("Stacking coins");
        using var answer = await SendAsync(of, page.Form(($"e-{coins}", "done"), ($"p-{coins}", "7")));
        Assert.Contains("Pain above the limit set", await app.Http.GetStringAsync(answer.Headers.Location));
    }

    [Fact]
    public async Task A_red_flag_is_taken_in_although_the_rest_must_be_put_right_first()
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        var form = page.Form(("flag", "collapse"), ($"e-{page.Handle("Stacking coins")}", "left-out"));
        using var answer = await SendAsync(of, form);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, answer.StatusCode);
        var html = WebUtility.HtmlDecode(await answer.Content.ReadAsStringAsync());
        Assert.InRange(html.IndexOf("Call the emergency number", StringComparison.Ordinal), 0, html.IndexOf("choose why it was left out", StringComparison.Ordinal));
        Assert.DoesNotMatch("value=\"collapse\"[^>]*checked", html);
        Assert.Equal("collapse", (string)Assert.Single((await app.GetAsync($"/api/flags?person={of.Person}")).AsArray())!["code"]!);
        using var again = await SendAsync(of, form);
        Assert.Single((await app.GetAsync($"/api/flags?person={of.Person}")).AsArray());
    }

    [Fact]
    public async Task A_day_without_practice_is_told_with_its_reason()
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        using var answer = await SendAsync(of, page.Form(("session", "missed"), ("missed-day", "2026-06-14"), ("missed-reason", "unwell")));
        Assert.Equal(HttpStatusCode.SeeOther, answer.StatusCode);
        var session = await SessionAsync(of);
        Assert.Equal(("not-done", "unwell", "2026-06-14"), ((string)session["status"]!, (string)session["reason"]!, (string)session["at"]!));
    }

    [Fact]
    public async Task A_report_kept_on_the_phone_is_placed_by_when_it_was_made()
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        var said = await ByScriptAsync(of, page.Form(("at", "2026-06-13T08:15:00.000Z"), ("role", "patient"), ($"e-{page.Handle("Stacking coins")}", "done"), ("flag", "dizziness")));
        Assert.True((bool)said["sent"]!);
        Assert.Equal("dizziness", (string)said["urgent"]![0]!["code"]!);
        var session = await SessionAsync(of);
        Assert.Equal(("2026-06-13T09:15:00+01:00", "patient"), ((string)session["at"]!, (string)session["reportedBy"]!["role"]!));
    }

    public static TheoryData<string, (string, string)[]> Faults => new()
    {
        { "Nothing is marked yet", [] },
        { "choose why it was left out", [("e-COINS", "left-out")] },
        { "cannot be how many times", [("e-COINS", "done"), ("n-COINS", "lots")] },
        { "cannot be how many times", [("e-COINS", "done"), ("n-COINS", "10001")] },
        { "cannot be the pain", [("e-COINS", "done"), ("p-COINS", "11")] },
        { "choose the help from the list", [("e-COINS", "done"), ("h-COINS", "robot")] },
        { "not part of the programme", [("e-000000000000", "done")] },
        { "is not on the list of warning signs", [("flag", "sore-thumb"), ("e-COINS", "done")] },
        { "on which day and at about what time", [("e-COINS", "done"), ("when", "earlier")] },
        { "The time is still to come", [("e-COINS", "done"), ("when", "earlier"), ("day", "2026-06-15"), ("time", "23:00")] },
        { "outside the programme", [("e-COINS", "done"), ("when", "earlier"), ("day", "2026-05-01"), ("time", "10:00")] },
        { "on which day there was no practice", [("session", "missed"), ("missed-reason", "unwell")] },
        { "still to come", [("session", "missed"), ("missed-reason", "unwell"), ("missed-day", "2026-06-16")] },
        { "Choose why there was no practice", [("session", "missed"), ("missed-day", "2026-06-14")] },
        { "no practice, and an exercise is marked", [("session", "missed"), ("missed-day", "2026-06-14"), ("missed-reason", "unwell"), ("e-COINS", "done")] },
    };

    [Theory, MemberData(nameof(Faults))]
    public async Task What_cannot_be_taken_comes_back_with_what_was_typed_and_stores_nothing(string says, (string, string)[] fields)
    {
        var of = await LinkAsync();
        var page = await PageAsync(of);
        var form = page.Form([.. fields.Select(f => (f.Item1.Replace("COINS", page.Handle("Stacking coins"), StringComparison.Ordinal), f.Item2)), ("tell", "Kept & shown <again>.")]);
        var before = app.State();
        using var answer = await SendAsync(of, form);
        var html = WebUtility.HtmlDecode(await answer.Content.ReadAsStringAsync());
        Assert.Equal(HttpStatusCode.UnprocessableEntity, answer.StatusCode);
        Assert.Contains(says, html, StringComparison.Ordinal);
        Assert.Contains("Kept & shown <again>.", html, StringComparison.Ordinal);
        Assert.DoesNotContain(of.Programme, html, StringComparison.Ordinal);
        Assert.Contains((await ByScriptAsync(of, form))["faults"]!.AsArray(), f => ((string)f!).Contains(says, StringComparison.Ordinal));
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task Unknown_revoked_and_expired_links_answer_one_and_the_same_page()
    {
        var (revoked, expired, working) = (await LinkAsync(), await LinkAsync("2026-06-20"), await LinkAsync());
        var page = await PageAsync(revoked);
        await app.PostAsync($"/api/home-links/{revoked.Link}/revocation", JsonNode.Parse($$"""{ "by": {{By}}, "reason": "Lost." }""")!);
        var now = app.Time.Now;
        // The last minute of the last day in London still counts; the next day does not.
        app.Time.Now = DateTimeOffset.Parse("2026-06-20T22:59:00Z");
        try
        {
            Assert.Equal(HttpStatusCode.OK, (await app.Http.GetAsync(expired.Path)).StatusCode);
            app.Time.Now = DateTimeOffset.Parse("2026-06-20T23:00:00Z");
            var seen = new HashSet<string>();
            foreach (var path in new[] { revoked.Path, expired.Path, "/home/AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA", "/home/x", $"{revoked.Path}/sent/{page.Entry}" })
            {
                using var response = await app.Http.GetAsync(path);
                Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
                seen.Add(await response.Content.ReadAsStringAsync());
            }

            using var late = await SendAsync(revoked, page.Form(($"e-{page.Handle("Stacking coins")}", "done")));
            Assert.Equal(HttpStatusCode.NotFound, late.StatusCode);
            seen.Add(await late.Content.ReadAsStringAsync());
            Assert.Contains("This link does not work", Assert.Single(seen));
            Assert.Equal(HttpStatusCode.OK, (await app.Http.GetAsync(working.Path)).StatusCode);
        }
        finally
        {
            app.Time.Now = now;
        }
    }

    [Fact]
    public async Task A_link_reports_for_its_own_programme_only()
    {
        var (mine, theirs) = (await LinkAsync(), await LinkAsync());
        var (page, other) = (await PageAsync(mine), await PageAsync(theirs));
        using var crossed = await SendAsync(mine, page.Form(($"e-{other.Handle("Stacking coins")}", "done")));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, crossed.StatusCode);
        using var sent = await SendAsync(theirs, other.Form(($"e-{other.Handle("Stacking coins")}", "done"), ("flag", "chest-pain")));
        using var peek = await app.Http.GetAsync($"{mine.Path}/sent/{other.Entry}");
        Assert.Equal((HttpStatusCode.SeeOther, mine.Path), (peek.StatusCode, peek.Headers.Location!.ToString()));
    }

    [Fact]
    public async Task What_is_no_report_or_too_large_is_refused()
    {
        var of = await LinkAsync();
        using var json = await app.Http.PostAsync(of.Path, TestApp.Json("{}"));
        Assert.Equal(HttpStatusCode.BadRequest, json.StatusCode);
        using var large = await app.Http.PostAsync(of.Path, new FormUrlEncodedContent([new("tell", new string('a', 70_000))]));
        Assert.Equal(HttpStatusCode.RequestEntityTooLarge, large.StatusCode);
        using var bare = await app.Http.PostAsync(of.Path, new FormUrlEncodedContent([new("e-x", "done")]));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, bare.StatusCode);
    }

    [Fact]
    public async Task The_worker_is_served_where_it_may_be_in_charge_of_the_page()
    {
        using var worker = await app.Http.GetAsync("/home-worker.js");
        Assert.Equal("text/javascript", worker.Content.Headers.ContentType!.MediaType);
        Assert.Equal("no-cache", worker.Headers.CacheControl!.ToString());
    }

    [Fact]
    public async Task What_goes_wrong_at_home_is_told_in_plain_words_and_leads_nowhere_into_the_clinic()
    {
        var of = await LinkAsync();
        var unread = await FaultAsync(of);
        Assert.Equal(HttpStatusCode.BadRequest, unread.Status);
        Assert.Contains("could not be read, and nothing was stored", unread.Html);
        var answer = unread;
        for (var i = 0; i < 70 && answer.Status != HttpStatusCode.TooManyRequests; i++)
            answer = await FaultAsync(of);
        Assert.Equal(HttpStatusCode.TooManyRequests, answer.Status);
        Assert.Contains("Wait a minute, then try again.", answer.Html);
        foreach (var html in new[] { unread.Html, answer.Html })
        {
            Assert.Contains("In an emergency call", html);
            Assert.DoesNotContain("/caseload", html);
            Assert.DoesNotContain("href=\"/you", html);
            Assert.DoesNotContain("RehabRecords", html);
        }

        async Task<(HttpStatusCode Status, string Html)> FaultAsync(Linked to)
        {
            using var request = new HttpRequestMessage(HttpMethod.Post, to.Path) { Content = new StringContent("not a form") };
            request.Headers.Add("Accept", "text/html");
            using var response = await app.Http.SendAsync(request);
            return (response.StatusCode, await response.Content.ReadAsStringAsync());
        }
    }

    private async Task<Linked> LinkAsync(string until = "2026-07-12")
    {
        var (person, programme) = await app.ProgrammeAsync();
        var answer = await app.PostAsync($"/api/programmes/{programme}/home-links", JsonNode.Parse($$"""{ "for": "carer", "validUntil": "{{until}}", "by": {{By}} }""")!);
        return new Linked(person, programme, (string)answer["link"]!["id"]!, new Uri((string)answer["address"]!).AbsolutePath);
    }

    private async Task<Page> PageAsync(Linked of) => Page.Of(await app.Http.GetStringAsync(of.Path));

    private async Task<HttpResponseMessage> SendAsync(Linked of, IEnumerable<KeyValuePair<string, string>> form)
    {
        using var content = new FormUrlEncodedContent(form);
        return await app.Http.PostAsync(of.Path, content);
    }

    private async Task<JsonNode> ByScriptAsync(Linked of, IEnumerable<KeyValuePair<string, string>> form)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, of.Path) { Content = new FormUrlEncodedContent(form) };
        request.Headers.Add("Accept", "application/json");
        using var answer = await app.Http.SendAsync(request);
        return JsonNode.Parse(await answer.Content.ReadAsStringAsync())!;
    }

    private async Task<JsonNode> SessionAsync(Linked of) =>
        await app.GetAsync($"/api/sessions/{Assert.Single((await app.GetAsync($"/api/sessions?programme={of.Programme}")).AsArray())!["id"]}");

    private sealed record Linked(string Person, string Programme, string Link, string Path);

    /// <summary>What a browser makes of the page: the fields it would send, with what is chosen before anybody chose.</summary>
    private sealed partial record Page(string Html, string Entry)
    {
        public static Page Of(string html) => new(WebUtility.HtmlDecode(html), EntryField().Match(html).Groups[1].Value);

        public string Handle(string title) => Regex.Match(Html, $"data-title=\"{title}[^\"]*\".*?name=\"e-([0-9a-f]{{12}})\"", RegexOptions.Singleline).Groups[1].Value;

        public List<KeyValuePair<string, string>> Form(params (string Name, string Value)[] filled)
        {
            var names = filled.Select(f => f.Name).ToHashSet();
            var usual = new Dictionary<string, string> { ["entry"] = Entry, ["session"] = "done", ["when"] = "now", ["role"] = "carer", ["tell"] = "" };
            return [.. usual.Where(u => !names.Contains(u.Key)), .. filled.Select(f => KeyValuePair.Create(f.Name, f.Value))];
        }

        [GeneratedRegex("name=\"entry\" value=\"([^\"]+)\"")]
        private static partial Regex EntryField();
    }
}
