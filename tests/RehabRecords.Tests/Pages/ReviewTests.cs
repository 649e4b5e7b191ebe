using System.Net;
using RehabRecords.Tests.Documents;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

/// <summary>A note read, corrected and signed by its page, as somebody without scripts does it.</summary>
public sealed class ReviewTests(TradeApp app) : IClassFixture<TradeApp>
{
    private static string Statement(string html, string rule) =>
        System.Text.RegularExpressions.Regex.Match(html, $"id=\"s-({rule}[^\"]*)\"").Groups[1].Value is { Length: > 0 } id ? id : throw new Xunit.Sdk.XunitException($"no statement of the rule {rule}");

    private static string Item(string html, string id) => html.Split($"id=\"s-{id}\"")[1].Split("<li id=\"s-")[0];

    [Fact]
    public async Task A_draft_is_marked_and_each_statement_has_its_rule_and_its_evidence_in_words_one_step_away()
    {
        var (note, of) = await app.DraftAsync();
        var reader = new Browser(app);
        var page = await reader.PageAsync($"/notes/{note}");
        Assert.Contains("<strong>DRAFT</strong>", page);
        Assert.Contains("class=\"draft\"", page);
        Assert.Contains($"href=\"/people/{of.Person}\"", page);
        var pain = Browser.Words(Item(page, Statement(page, "pain")));
        Assert.Contains("Written when: Any pain rating in the 14 days to the latest result.", pain);
        Assert.Contains("Stacking coins, 10 June 2026, 10:00 : right, sets done 3, repetitions done 36, purposeful repetitions done 30, minutes done 11.5 min", pain);
        var whole = await reader.WordsAsync($"/notes/{note}/statements/{Statement(page, "pain")}");
        Assert.Contains("help with things set up by somebody, pain before 0 of 10, pain during 2 of 10, pain after 1 of 10, exertion, scale 0 to 10 3.5", whole);
        Assert.Contains("by the person", whole);
        var words = Browser.Words(Item(page, Statement(page, "words")));
        Assert.Contains("“Went well.”", words);
        // Nobody has said who they are: it can be read, and nothing can be sent.
        Assert.DoesNotContain("method=\"post\"", page);
        Assert.Contains("Say who is working", page);
    }

    [Fact]
    public async Task What_a_clinician_does_to_a_statement_stays_visible_as_theirs()
    {
        var (note, _) = await app.DraftAsync();
        var at = $"/notes/{note}";
        var rowan = await Browser.AsAsync(app);
        var page = await rowan.PageAsync(at);
        var (adherence, context, review) = (Statement(page, "adherence"), Statement(page, "person-context"), Statement(page, "review-date"));
        var drafted = (string)(await app.NoteAsync(note)).Statement("adherence")["text"]!;

        var (status, body, location) = await rowan.SendAsync(at, $"{at}/edit", ($"text:{adherence}", "Practised <b>once</b>."));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains("Practised &lt;b&gt;once&lt;/b&gt;.</textarea>", body);
        (status, _, location) = await rowan.SendAsync(at, $"{at}/edit", ($"text:{adherence}", "Practised once & the rest is unknown, 1 < 2."));
        Assert.Equal((HttpStatusCode.SeeOther, $"{at}?done=edited#s-{adherence}"), (status, location));
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, $"{at}/remove", ("statement", context), ($"reason:{context}", "Said in the referral already."))).Status);
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, $"{at}/accept", ("statement", review))).Status);
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, $"{at}/add", ("section", "Plan"), ("own", "Told the sister when to stop."))).Status);

        page = await rowan.PageAsync($"{at}?done=added");
        Assert.Contains("1 &lt; 2", page);
        Assert.Contains($"The software had drafted: “{drafted}”", Browser.Words(page));
        Assert.Contains("Edited by Rowan Invented, physiotherapist, registration INV-1001 (Register of Invented Professions), 15 June 2026, 12:00 UTC.", Browser.Words(page));
        Assert.Contains("<del>Affected side", page);
        Assert.Contains("because: Said in the referral already.", Browser.Words(page));
        Assert.Contains("Accepted by Rowan Invented", Browser.Words(Item(page, review)));
        Assert.Contains("Written by Rowan Invented", Browser.Words(page).Split("Told the sister when to stop.")[1]);
        Assert.Contains("Your statement is added.", page);

        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, $"{at}/restore", ("statement", adherence))).Status);
        Assert.Equal(drafted, (string)(await app.NoteAsync(note)).Statement("adherence")["text"]!);
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, $"{at}/accept")).Status);
        Assert.Equal(0, (int)(await app.NoteAsync(note))["review"]!["untouched"]!);
    }

    [Fact]
    public async Task A_form_sent_twice_is_one_change_and_one_without_its_token_or_its_clinician_is_none()
    {
        var (note, _) = await app.DraftAsync();
        var at = $"/notes/{note}";
        var rowan = await Browser.AsAsync(app);
        var form = Browser.Form(await rowan.PageAsync(at), $"{at}/add", ("section", "Plan"), ("own", "Seen at home."));
        var first = await rowan.PostAsync($"{at}/add", form);
        var state = app.State();
        var second = await rowan.PostAsync($"{at}/add", form);
        Assert.Equal((HttpStatusCode.SeeOther, first.Location), (second.Status, second.Location));
        var forged = await rowan.PostAsync($"{at}/add", form.Where(f => f.Key != "__RequestVerificationToken"));
        Assert.Equal(HttpStatusCode.BadRequest, forged.Status);
        var nobody = new Browser(app);
        form = [.. form.Where(f => f.Key != "__RequestVerificationToken"), .. Browser.Form(await nobody.PageAsync("/you"), "/you").Where(f => f.Key == "__RequestVerificationToken")];
        var unnamed = await nobody.PostAsync($"{at}/add", form);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, unnamed.Status);
        Assert.Contains("Nobody has said who is working here", Browser.Words(unnamed.Html));
        Assert.Equal(state, app.State());
    }

    [Fact]
    public async Task Of_two_who_edit_at_once_the_second_sees_both_and_loses_nothing()
    {
        var (note, _) = await app.DraftAsync();
        var at = $"/notes/{note}";
        var rowan = await Browser.AsAsync(app);
        var merle = await Browser.AsAsync(app, "Merle Fictive", registration: "INV-1002");
        var seen = await rowan.PageAsync(at);
        var id = Statement(seen, "adherence");
        var late = Browser.Form(seen, $"{at}/edit", ($"text:{id}", "Rowan's words."));
        Assert.Equal(HttpStatusCode.SeeOther, (await merle.SendAsync(at, $"{at}/edit", ($"text:{id}", "Merle's words."))).Status);

        var (status, body, _) = await rowan.PostAsync($"{at}/edit", late);
        Assert.Equal(HttpStatusCode.PreconditionFailed, status);
        var words = Browser.Words(body);
        Assert.Contains("Somebody else changed this note", words);
        Assert.Contains("Rowan's words.</textarea>", WebUtility.HtmlDecode(body));
        Assert.Contains("It reads now: “Merle's words.” (edited by Merle Fictive", words);
        Assert.Contains("<ins>", body);

        var again = await rowan.PostAsync($"{at}/edit", Browser.Form(body, $"{at}/edit", ($"text:{id}", "Rowan's words.")));
        Assert.Equal(HttpStatusCode.SeeOther, again.Status);
        Assert.Equal("Rowan's words.", (string)(await app.NoteAsync(note)).Statement("adherence")["text"]!);
    }

    [Fact]
    public async Task A_refusal_shows_the_page_again_with_what_was_typed_and_the_remedy()
    {
        var (note, _) = await app.DraftAsync();
        var at = $"/notes/{note}";
        var rowan = await Browser.AsAsync(app);
        var id = Statement(await rowan.PageAsync(at), "adherence");
        var (status, body, _) = await rowan.SendAsync(at, $"{at}/remove", ("statement", id), ($"reason:{id}", "ok & <3"));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains("say in at least 10 what was the reason", Browser.Words(body));
        Assert.Contains("ok &amp; &lt;3</textarea>", body);
        var unticked = await rowan.SendAsync(at, $"{at}/sign");
        Assert.Equal(HttpStatusCode.UnprocessableEntity, unticked.Status);
        Assert.Contains("is not ticked", unticked.Html);
    }

    [Fact]
    public async Task Words_typed_in_several_places_are_stored_at_once_and_none_is_lost_to_another_button()
    {
        var (note, _) = await app.DraftAsync();
        var at = $"/notes/{note}";
        var rowan = await Browser.AsAsync(app);
        var page = await rowan.PageAsync(at);
        var (one, two) = (Statement(page, "adherence"), Statement(page, "review-date"));
        var state = app.State();
        var (status, body, _) = await rowan.SendAsync(at, $"{at}/sign", ("read", "yes"), ($"text:{one}", "First new words."), ("own", "Words of my own."));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains("something else that is not stored yet (2 of the fields", body);
        Assert.Contains("First new words.</textarea>", body);
        Assert.Contains("Words of my own.</textarea>", body);
        Assert.Equal(state, app.State());

        var version = await app.VersionAsync(note);
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, $"{at}/edit", ($"text:{one}", "First new words."), ($"text:{two}", "Second\r\nnew words."))).Status);
        var after = await app.NoteAsync(note);
        Assert.Equal(version + 1, after.Version());
        Assert.Equal(("First new words.", "Second\nnew words."), ((string)after.Statement("adherence")["text"]!, (string)after.Statement("review-date")["text"]!));
        // Sent as they are shown, nothing is new in them.
        var unchanged = await rowan.SendAsync(at, $"{at}/edit", ($"text:{two}", "Second\r\nnew words."));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, unchanged.Status);
        Assert.Contains("nothing to store", unchanged.Html);
    }

    [Fact]
    public async Task A_stale_draft_says_so_and_is_taken_fresh_with_the_edits_kept_or_signed_with_a_reason()
    {
        var (note, of) = await app.DraftAsync();
        var at = $"/notes/{note}";
        var rowan = await Browser.AsAsync(app);
        var id = Statement(await rowan.PageAsync(at), "review-date");
        await rowan.SendAsync(at, $"{at}/edit", ($"text:{id}", "Ends in July, as agreed."));
        await app.SessionAsync(of, 12, "Went on & better.");
        var stale = await rowan.PageAsync(at);
        Assert.Contains("The record has moved on", stale);
        Assert.Contains("<ins>", stale);
        Assert.Contains("Went on & better.", Browser.Words(stale));

        var (status, body, _) = await rowan.SendAsync(at, $"{at}/sign", ("read", "yes"), ("althoughStale", ""));
        Assert.Equal(HttpStatusCode.Conflict, status);
        Assert.Contains("say in “why it is signed in spite of newer results” why", Browser.Words(body));
        Assert.DoesNotContain("POST /api", body);

        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, $"{at}/refresh")).Status);
        var fresh = await rowan.PageAsync(at);
        Assert.DoesNotContain("The record has moved on", fresh);
        Assert.Contains("Ends in July, as agreed.", fresh);
        Assert.Contains("Went on & better.", Browser.Words(fresh));
    }

    [Fact]
    public async Task Signed_it_is_frozen_checked_amended_compared_and_withdrawn()
    {
        var (note, _) = await app.DraftAsync();
        var at = $"/notes/{note}";
        var rowan = await Browser.AsAsync(app);
        Assert.Equal($"{at}?done=signed", (await rowan.SendAsync(at, $"{at}/sign", ("read", "yes"))).Location);
        var signed = await rowan.PageAsync($"{at}?done=signed");
        Assert.DoesNotContain("DRAFT", signed);
        Assert.Contains("Signed by Rowan Invented, physiotherapist, registration INV-1001", signed);
        var signature = await app.GetAsync($"/api/notes/{note}/signature");
        Assert.Contains($"<code>{(string)signature["sha256"]!}</code>", signed);
        Assert.Contains("the stored document is the one that was signed", signed);
        Assert.Contains("No red flag was open at signing.", signed);
        Assert.DoesNotContain($"{at}/edit", signed);

        Assert.Equal(HttpStatusCode.UnprocessableEntity, (await rowan.SendAsync(at, $"{at}/amend", ("reason", "short"))).Status);
        var begun = (await rowan.SendAsync(at, $"{at}/amend", ("reason", "The wrong hand was named."))).Location!;
        var amendment = begun.Split('?')[0];
        Assert.NotEqual(at, amendment);
        Assert.Contains("there is an amendment of this note", await rowan.PageAsync(at));
        var id = Statement(await rowan.PageAsync(begun), "adherence");
        await rowan.SendAsync(amendment, $"{amendment}/edit", ($"text:{id}", "Practised once with the left hand."));
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(amendment, $"{amendment}/sign", ("read", "yes"))).Status);

        var versions = await rowan.PageAsync($"{amendment}/versions?from={note}/2&to={amendment.Split('/')[^1]}/3");
        Assert.Contains("amendment 1, version 3", versions);
        Assert.Contains("left", Browser.Words(versions.Split("id=\"differences\"")[1]));
        Assert.Contains("<del>", versions);
        Assert.Contains("This is version 1 as it stood.", Browser.Words(await rowan.PageAsync($"{at}?version=1")));

        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(amendment, $"{amendment}/withdraw", ("reason", "Of another person, sorry."))).Status);
        var withdrawn = await rowan.PageAsync(amendment);
        Assert.Contains("ENTERED IN ERROR", withdrawn);
        Assert.DoesNotContain($"{amendment}/withdraw", withdrawn);
    }

    [Fact]
    public async Task A_student_signs_and_somebody_registered_countersigns()
    {
        var (note, _) = await app.DraftAsync();
        var at = $"/notes/{note}";
        var sorrel = await Browser.AsAsync(app, "Sorrel Pretend", "student physiotherapist", null);
        Assert.Contains("makes the note wait for the countersignature", await sorrel.PageAsync(at));
        Assert.Equal($"{at}?done=waiting", (await sorrel.SendAsync(at, $"{at}/sign", ("read", "yes"))).Location);
        Assert.Contains("<strong>DRAFT</strong>", await sorrel.PageAsync(at));
        var own = await sorrel.SendAsync(at, $"{at}/countersign", ("read", "yes"));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, own.Status);
        Assert.Contains("a registered clinician countersigns", own.Html);
        var rowan = await Browser.AsAsync(app);
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, $"{at}/countersign", ("read", "yes"))).Status);
        var signed = await rowan.PageAsync(at);
        Assert.Contains("countersigned by Rowan Invented", signed);
        Assert.DoesNotContain("<strong>DRAFT</strong>", signed);
    }

    [Fact]
    public async Task A_red_flag_stands_first_and_its_statement_cannot_be_written_away()
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("redFlags", """["chest-pain"]""")));
        var at = ((string)answer["note"]!["address"]!).Replace("/api", "", StringComparison.Ordinal);
        var rowan = await Browser.AsAsync(app);
        var page = await rowan.PageAsync(at);
        Assert.True(page.IndexOf("Act on this first", StringComparison.Ordinal) < page.IndexOf("<strong>DRAFT", StringComparison.Ordinal));
        Assert.Contains("Open red flags:", page);
        var id = Statement(page, "urgent-flag");
        Assert.DoesNotContain($"id=\"t-{id}\"", page);
        var refused = await rowan.PostAsync($"{at}/edit", Browser.Form(page, $"{at}/edit", ($"text:{id}", "Nothing.")));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, refused.Status);
        Assert.Contains("clear the flag", refused.Html);
    }

    [Fact]
    public async Task A_red_flag_is_cleared_with_a_reason_from_the_page_of_the_person()
    {
        var of = await app.ProgrammeAsync();
        await app.PostAsync("/api/sessions", TradeApp.Session(of, ("redFlags", """["dizziness"]""")));
        var rowan = await Browser.AsAsync(app);
        var at = System.Text.RegularExpressions.Regex.Match(await rowan.PageAsync($"/people/{of.Person}"), "href=\"(/flags/[^\"]+)\"").Groups[1].Value;
        Assert.Contains("Home practice session, 10 June 2026, 10:00 : done", await rowan.WordsAsync(at));
        var (status, body, _) = await rowan.SendAsync(at, at, ("reason", "ok <3"));
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains("say in at least 10", body);
        Assert.Contains("ok &lt;3</textarea>", body);
        Assert.Equal(HttpStatusCode.SeeOther, (await rowan.SendAsync(at, at, ("reason", "Seen at home; settled within minutes."))).Status);
        Assert.Contains("Cleared by Rowan Invented, physiotherapist, registration INV-1001, 15 June 2026, 12:00 UTC, because: Seen at home; settled within minutes.", await rowan.WordsAsync(at));
        Assert.DoesNotContain(at, await rowan.PageAsync($"/people/{of.Person}"));
    }

    [Fact]
    public async Task Where_there_is_no_such_note_a_page_says_so()
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, "/notes/no-such");
        request.Headers.Add("Accept", "text/html");
        using var response = await app.Http.SendAsync(request);
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
        Assert.Contains("<h1>Not Found</h1>", await response.Content.ReadAsStringAsync());
    }
}
