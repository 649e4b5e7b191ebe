using System.Net;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Trade;
using static RehabRecords.Tests.Documents.LifeCycle;

namespace RehabRecords.Tests.Documents;

/// <summary>What is signed is replaced or withdrawn, never erased.</summary>
public sealed class AmendmentTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Fact]
    public async Task An_amendment_replaces_the_signed_note_which_stays_as_it_was()
    {
        var (note, of) = await app.DraftAsync();
        var signed = await app.SignedAsync(note);
        var (frozen, _) = await app.BytesAsync($"/fhir/{(string)signed["document"]!}");
        var (composition, _) = await app.BytesAsync($"/fhir/Composition/{note}");

        var draft = await app.DoneAsync($"/api/notes/{note}/amendments", By(Second, """, "reason": "The wrong hand was named." """), signed["note"]!.Version());
        var amendment = ((string)draft["address"]!).Split('/')[^1];
        Assert.NotEqual(note, amendment);
        Assert.Equal("edited", (string)draft["stage"]!);
        Assert.Equal("The wrong hand was named.", (string)draft["reason"]!);
        Assert.Equal(signed["note"]!["statements"]!.AsArray().Select(s => (string)s!["text"]!), draft["statements"]!.AsArray().Select(s => (string)s!["text"]!));
        // A session meanwhile belongs to the next note, and an amendment is not refreshed.
        await app.SessionAsync(of, 12);
        Assert.False((bool)(await app.NoteAsync(amendment))["review"]!["stale"]!);
        Assert.Equal(HttpStatusCode.Conflict, (await app.StepAsync($"/api/notes/{amendment}/refresh", By(Second), 1)).Status);
        Assert.Equal(HttpStatusCode.Conflict, (await app.StepAsync($"/api/notes/{note}/amendments", By(Physio, """, "reason": "Another reason." """), signed["note"]!.Version())).Status);

        var edited = await app.DoneAsync($"/api/notes/{amendment}/statements/adherence/text", By(Second, """, "text": "Practised once with the right hand." """), draft.Version());
        var final = await app.DoneAsync($"/api/notes/{amendment}/signature", By(Second), edited.Version());
        Assert.Equal("amended", (string)final["note"]!["stage"]!);
        Assert.Equal("amended", (string)final["note"]!["status"]!);
        Assert.NotEqual((string)signed["identifier"]!, (string)final["identifier"]!);
        var document = (Bundle)ResourceReader.Read((await app.BytesAsync($"/fhir/{(string)final["document"]!}")).Bytes, FhirFormat.Json);
        var inside = (Composition)document.Entry[0].Resource!;
        Assert.Contains((string)signed["identifier"]!, inside.RelatesTo.Select(r => ((Identifier)r.Target!).Value));
        Assert.Contains("because: The wrong hand was named.", inside.Text!.Div);

        Assert.Equal(frozen, (await app.BytesAsync($"/fhir/{(string)signed["document"]!}")).Bytes);
        Assert.Equal(composition, (await app.BytesAsync($"/fhir/Composition/{note}")).Bytes);
        Assert.Equal($"/api/notes/{amendment}", (string)(await app.NoteAsync(note))["replacedBy"]!);
        Assert.True((bool)(await app.GetAsync($"/api/notes/{note}/signature"))["verdict"]!["genuine"]!);

        var third = await app.DoneAsync($"/api/notes/{amendment}/amendments", By(Physio, """, "reason": "Once more, for good." """), final["note"]!.Version());
        var versions = (await app.GetAsync($"/api/notes/{note}/versions")).AsArray();
        Assert.Equal(versions.ToJsonString(), (await app.GetAsync($"{(string)third["address"]!}/versions")).ToJsonString());
        Assert.Equal(["draft", "signed", "edited", "edited", "amended", "edited"], versions.Select(v => (string)v!["stage"]!));
    }

    [Fact]
    public async Task The_difference_of_two_versions_is_shown_statement_by_statement_and_word_by_word()
    {
        var (note, _) = await app.DraftAsync();
        var first = await app.NoteAsync(note);
        var edited = await app.DoneAsync($"/api/notes/{note}/statements/review-date/text", By(Physio, """, "text": "The programme ends on 12 July 2026, as agreed." """), first.Version());
        var own = await app.DoneAsync($"/api/notes/{note}/statements", By(Physio, """, "section": "plan", "text": "Seen at home." """), edited.Version());
        var all = await app.GetAsync($"/api/notes/{note}/differences?from={first.Version()}&to={own.Version()}");
        Assert.Equal(first["statements"]!.AsArray().Count - 1, (int)all["unchanged"]!);
        var changed = all["statements"]!.AsArray();
        Assert.Equal(["changed", "added"], changed.Select(c => (string)c!["change"]!));
        Assert.Equal("The programme ends on 12 July 2026.", (string)changed[0]!["before"]!);
        var words = changed[0]!["wordChanges"]!.AsArray().Select(w => ((string)w!["change"]!, (string)w["text"]!)).ToList();
        Assert.Equal((string)changed[0]!["after"]!, string.Concat(words.Where(w => w.Item1 != "deleted").Select(w => w.Item2)));
        Assert.Equal((string)changed[0]!["before"]!, string.Concat(words.Where(w => w.Item1 != "inserted").Select(w => w.Item2)));
        Assert.Contains(words, w => w.Item1 == "inserted" && w.Item2.Contains("agreed"));
        // Left out: what is current against the version before.
        Assert.Equal(["added"], (await app.GetAsync($"/api/notes/{note}/differences"))["statements"]!.AsArray().Select(c => (string)c!["change"]!));
        var then = await app.GetAsync($"/api/notes/{note}/versions/{first.Version()}");
        Assert.Equal(first["text"]!.ToJsonString(), then["text"]!.ToJsonString());
        using var none = await app.Http.GetAsync($"/api/notes/{note}/differences?from=99");
        Assert.Equal(HttpStatusCode.BadRequest, none.StatusCode);
    }

    [Fact]
    public async Task A_note_of_the_wrong_person_is_marked_and_stays_readable_with_the_reason()
    {
        var (note, of) = await app.DraftAsync();
        var signed = await app.SignedAsync(note);
        var path = $"/api/notes/{note}/entered-in-error";
        Assert.Equal(HttpStatusCode.UnprocessableEntity, (await app.StepAsync(path, By(Student, """, "reason": "Not this person." """), signed["note"]!.Version())).Status);
        var withdrawn = await app.DoneAsync(path, By(Physio, """, "reason": "Recorded for another person." """), signed["note"]!.Version());
        Assert.Equal("entered-in-error", (string)withdrawn["stage"]!);
        Assert.StartsWith("ENTERED IN ERROR. Not to be used.", (string)withdrawn["text"]!);
        Assert.Equal("Recorded for another person.", (string)withdrawn["reason"]!);
        Assert.Equal(HttpStatusCode.Conflict, (await app.StepAsync(path, By(Physio, """, "reason": "Recorded for another person." """), withdrawn.Version())).Status);
        Assert.Equal(HttpStatusCode.Conflict, (await app.StepAsync($"/api/notes/{note}/acceptance", By(Physio), withdrawn.Version())).Status);
        Assert.Equal(HttpStatusCode.Conflict, (await app.StepAsync($"/api/notes/{note}/amendments", By(Physio, """, "reason": "Cannot be amended." """), withdrawn.Version())).Status);
        var signature = await app.GetAsync($"/api/notes/{note}/signature");
        Assert.True((bool)signature["verdict"]!["genuine"]!, signature.ToJsonString());
        Assert.NotEqual($"/api/notes/{note}", (string)(await app.SessionAsync(of, 12))["note"]!["address"]!);

        // A draft may be withdrawn too.
        var (draft, _) = await app.DraftAsync();
        Assert.Equal("entered-in-error", (string)(await app.DoneAsync($"/api/notes/{draft}/entered-in-error", By(Physio, """, "reason": "Recorded for another person." """), await app.VersionAsync(draft)))["stage"]!);
    }

    [Fact]
    public async Task Of_two_amendments_begun_at_once_one_is_refused()
    {
        var (note, _) = await app.DraftAsync();
        var version = (await app.SignedAsync(note))["note"]!.Version();
        var answers = await Task.WhenAll(Enumerable.Range(0, 4).Select(i => app.StepAsync($"/api/notes/{note}/amendments", By(Physio, $", \"reason\": \"The reason of number {i}.\""), version)));
        Assert.Single(answers, a => a.Status == HttpStatusCode.Created);
        Assert.Equal(3, answers.Count(a => a.Status == HttpStatusCode.Conflict));
    }
}
