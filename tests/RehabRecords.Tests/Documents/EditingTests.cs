using System.Net;
using RehabRecords.Tests.Trade;
using static RehabRecords.Tests.Documents.LifeCycle;

namespace RehabRecords.Tests.Documents;

/// <summary>What clinicians do to the statements of a draft, and what stays visible of it.</summary>
public sealed class EditingTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Fact]
    public async Task An_edit_is_the_clinicians_and_keeps_the_drafted_words()
    {
        var (note, _) = await app.DraftAsync();
        var before = await app.NoteAsync(note);
        var drafted = before.Statement("adherence");
        var after = await app.DoneAsync($"/api/notes/{note}/statements/{(string)drafted["id"]!}/text", By(Physio, """, "text": "Practised once; the other days are not accounted for." """), before.Version());
        var edited = after.Statement("adherence");
        Assert.Equal("Practised once; the other days are not accounted for.", (string)edited["text"]!);
        Assert.Equal((string)drafted["text"]!, (string)edited["draftedText"]!);
        Assert.Equal("edited", (string)edited["state"]!);
        Assert.StartsWith("Rowan Invented, physiotherapist, registration INV-1001", (string)edited["by"]!);
        Assert.Equal(drafted["evidence"]!.ToJsonString(), edited["evidence"]!.ToJsonString());
        Assert.Empty(edited["values"]!.AsArray());
        Assert.Equal("edited", (string)after["stage"]!);
        Assert.Contains("RehabRecords drafting software; Rowan Invented", (string)after["author"]!);
        Assert.Contains("(edited by Rowan Invented", (string)after["text"]!);

        var restored = await app.DoneAsync($"/api/notes/{note}/statements/{(string)drafted["id"]!}/restoration", By(Second), after.Version());
        Assert.Equal((string)drafted["text"]!, (string)restored.Statement("adherence")["text"]!);
        Assert.Equal("drafted", (string)restored.Statement("adherence")["state"]!);
    }

    [Fact]
    public async Task A_removal_says_who_removed_what_and_why()
    {
        var (note, _) = await app.DraftAsync();
        var before = await app.NoteAsync(note);
        var id = (string)before.Statement("person-context")["id"]!;
        var after = await app.DoneAsync($"/api/notes/{note}/statements/{id}/removal", By(Physio, """, "reason": "Said in the referral already." """), before.Version());
        var removed = after.Statement("person-context");
        Assert.Equal("removed", (string)removed["state"]!);
        Assert.Equal("Removed by Rowan Invented, physiotherapist, registration INV-1001 (Register of Invented Professions) on 15 June 2026, because: Said in the referral already.", (string)removed["text"]!);
        Assert.Equal((string)before.Statement("person-context")["text"]!, (string)removed["draftedText"]!);
        Assert.Equal("Said in the referral already.", (string)removed["removalReason"]!);
    }

    [Fact]
    public async Task A_statement_of_ones_own_stands_where_it_was_put_with_or_without_evidence()
    {
        var (note, of) = await app.DraftAsync();
        var before = await app.NoteAsync(note);
        var first = (string)before["statements"]!.AsArray().First(s => (string)s!["section"]! == "plan")!["id"]!;
        var one = await app.DoneAsync($"/api/notes/{note}/statements", By(Second, """, "section": "Plan", "text": "Told the sister to stop if the skin reddens." """), before.Version());
        var two = await app.DoneAsync($"/api/notes/{note}/statements", By(Physio, $", \"section\": \"18776-5\", \"text\": \"Reviewed with Perrin on the telephone.\", \"after\": \"{first}\", \"evidence\": [\"Patient/{of.Person}\"]"), one.Version());
        var plan = two["statements"]!.AsArray().Where(s => (string)s!["section"]! == "plan").ToList();
        Assert.Equal("Reviewed with Perrin on the telephone.", (string)plan[1]!["text"]!);
        Assert.Equal([$"Patient/{of.Person}/_history/1"], plan[1]!["evidence"]!.AsArray().Select(e => (string)e!));
        Assert.Equal("Told the sister to stop if the skin reddens.", (string)plan[^1]!["text"]!);
        Assert.Empty(plan[^1]!["evidence"]!.AsArray());
        Assert.Equal(("own", "clinician"), ((string)plan[^1]!["state"]!, (string)plan[^1]!["rule"]!));
        Assert.Contains("(written by Merle Fictive", (string)two["text"]!);

        var (status, body, _) = await app.StepAsync($"/api/notes/{note}/statements", By(Physio, $", \"section\": \"plan\", \"text\": \"x\", \"evidence\": [\"Patient/{(await app.ProgrammeAsync()).Person}\"]"), two.Version());
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains("about another person", body.ToJsonString());
    }

    [Fact]
    public async Task All_that_nobody_has_touched_is_accepted_at_once()
    {
        var (note, _) = await app.DraftAsync();
        var before = await app.NoteAsync(note);
        Assert.Equal(before["statements"]!.AsArray().Count, (int)before["review"]!["untouched"]!);
        var after = await app.DoneAsync($"/api/notes/{note}/acceptance", By(Physio), before.Version());
        Assert.All(after["statements"]!.AsArray(), s => Assert.Equal("accepted", (string)s!["state"]!));
        Assert.Equal(before["statements"]!.AsArray().Select(s => (string)s!["text"]!), after["statements"]!.AsArray().Select(s => (string)s!["text"]!));
    }

    [Fact]
    public async Task Of_two_who_edit_at_once_the_second_is_told_what_changed_and_nothing_is_lost()
    {
        var (note, _) = await app.DraftAsync();
        var seen = await app.NoteAsync(note);
        var id = (string)seen.Statement("adherence")["id"]!;
        string Text(string words) => $"/api/notes/{note}/statements/{id}/text";
        var answers = await Task.WhenAll(
            app.StepAsync(Text(""), By(Physio, """, "text": "Rowan's words." """), seen.Version()),
            app.StepAsync(Text(""), By(Second, """, "text": "Merle's words." """), seen.Version()));
        Assert.Equal([HttpStatusCode.OK, HttpStatusCode.PreconditionFailed], answers.Select(a => a.Status).Order());
        var (_, refused, tag) = answers.Single(a => a.Status == HttpStatusCode.PreconditionFailed);
        var current = await app.NoteAsync(note);
        Assert.Equal($"W/\"{current.Version()}\"", tag);
        var error = refused["errors"]!.AsArray().Single(e => (string?)e!["field"] == id)!;
        Assert.Contains((string)current.Statement("adherence")["text"]!, (string)error["message"]!);

        Assert.Equal(HttpStatusCode.PreconditionRequired, (await app.StepAsync(Text(""), By(Physio, """, "text": "x" """), null)).Status);
    }

    [Fact]
    public async Task A_session_never_overwrites_an_edited_draft_which_becomes_stale_instead()
    {
        var (note, of) = await app.DraftAsync();
        var first = await app.NoteAsync(note);
        Assert.False((bool)first["review"]!["stale"]!);
        var edited = await app.DoneAsync($"/api/notes/{note}/statements/{(string)first.Statement("adherence")["id"]!}/text", By(Physio, """, "text": "My words." """), first.Version());
        var own = await app.DoneAsync($"/api/notes/{note}/statements", By(Physio, """, "section": "plan", "text": "My plan." """), edited.Version());

        var answer = await app.SessionAsync(of, 12);
        Assert.Equal($"/api/notes/{note}", (string)answer["note"]!["address"]!);
        var stale = await app.NoteAsync(note);
        Assert.Equal(own.Version(), stale.Version());
        Assert.Single((await app.GetAsync($"/api/notes?person={of.Person}")).AsArray());
        Assert.True((bool)stale["review"]!["stale"]!);
        var changes = stale["review"]!["changes"]!.AsArray();
        Assert.Contains(changes, c => (string)c!["change"]! == "new" && ((string)c["now"]!).Contains("Went on."));
        Assert.Contains(changes, c => (string)c!["change"]! == "changed" && (string)c["id"]! == "adherence");

        var refreshed = await app.DoneAsync($"/api/notes/{note}/refresh", By(Second), stale.Version());
        Assert.Equal("My words.", (string)refreshed.Statement("adherence")["text"]!);
        Assert.StartsWith("What was drafted here has changed; it was “", (string)refreshed.Statement("adherence")["needsALook"]!);
        Assert.Contains(refreshed["statements"]!.AsArray(), s => (string)s!["text"]! == "My plan." && (string)s["state"]! == "own");
        Assert.Contains(refreshed["statements"]!.AsArray(), s => ((string)s!["text"]!).Contains("Went on."));
        var fresh = (await app.NoteAsync(note))["review"]!;
        Assert.False((bool)fresh["stale"]!);
        Assert.Equal(["adherence"], fresh["needsALook"]!.AsArray().Select(i => (string)i!));

        var confirmed = await app.DoneAsync($"/api/notes/{note}/acceptance", By(Physio, """, "statements": ["adherence"] """), refreshed.Version());
        Assert.Null((string?)confirmed.Statement("adherence")["needsALook"]);
        Assert.Equal("edited", (string)confirmed.Statement("adherence")["state"]!);
    }

    [Fact]
    public async Task A_statement_of_an_open_red_flag_is_not_written_away()
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("redFlags", """["chest-pain"]""")));
        var note = ((string)answer["note"]!["address"]!).Split('/')[^1];
        var id = (string)answer["note"]!.Statement("urgent-flag")["id"]!;
        var (status, body, _) = await app.StepAsync($"/api/notes/{note}/statements/{id}/removal", By(Physio, """, "reason": "Was only heartburn." """), answer["note"]!.Version());
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains("clear the flag", body.ToJsonString());
    }

    [Theory]
    [InlineData("statements/nothing/text", """, "text": "x" """, HttpStatusCode.NotFound, "statement")]
    [InlineData("statements/adherence/text", """, "text": " " """, HttpStatusCode.UnprocessableEntity, "text")]
    [InlineData("statements/adherence/removal", """, "reason": "no" """, HttpStatusCode.UnprocessableEntity, "reason")]
    [InlineData("statements/adherence/restoration", "", HttpStatusCode.UnprocessableEntity, "statement")]
    [InlineData("statements", """, "section": "diagnosis", "text": "x" """, HttpStatusCode.UnprocessableEntity, "section")]
    [InlineData("statements", """, "section": "plan", "text": "x", "after": "adherence" """, HttpStatusCode.UnprocessableEntity, "after")]
    [InlineData("statements", """, "section": "plan", "text": "x", "evidence": ["nonsense"] """, HttpStatusCode.UnprocessableEntity, "evidence[0]")]
    [InlineData("statements", """, "section": "plan", "text": "x", "evidence": ["Observation/none"] """, HttpStatusCode.UnprocessableEntity, "evidence[0]")]
    public async Task A_change_that_cannot_be_made_is_refused_with_the_field_and_the_remedy(string path, string more, HttpStatusCode status, string field)
    {
        var (note, _) = await app.DraftAsync();
        var version = await app.VersionAsync(note);
        var before = app.State();
        var (answered, body, _) = await app.StepAsync($"/api/notes/{note}/{path}", By(Physio, more), version);
        Assert.True(status == answered, $"{(int)answered}: {body}");
        Assert.Contains(body["errors"]!.AsArray(), e => (string?)e!["field"] == field);
        Assert.Equal(before, app.State());
    }

    [Fact]
    public async Task A_registration_number_that_belongs_to_somebody_else_is_refused()
    {
        var (note, _) = await app.DraftAsync();
        var accepted = await app.DoneAsync($"/api/notes/{note}/acceptance", By(Physio), await app.VersionAsync(note));
        var (status, body, _) = await app.StepAsync($"/api/notes/{note}/statements", By(Physio.Replace("Rowan Invented", "Somebody Else"), """, "section": "plan", "text": "x" """), accepted.Version());
        Assert.Equal(HttpStatusCode.UnprocessableEntity, status);
        Assert.Contains("which the record knows as that of Rowan Invented", body.ToJsonString());
    }
}
