using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using FluentValidation;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Documents;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Pages.You;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Review;

/// <summary>What a form of the page asks for, with everything a command needs.</summary>
internal sealed record Asked(string IfMatch, Filled Form, Typed Typed, Who Who, IServiceProvider Services)
{
    /// <summary>The request as /api would take it, checked by the same rules.</summary>
    public async Task<T> CheckedAsync<T>(T request, CancellationToken ct)
        where T : class
    {
        await PostedBody.CheckAsync(Services.GetRequiredService<IValidator<T>>(), request, ct);
        return request;
    }
}

/// <summary>
/// Runs the commands behind the forms of a note: those of the routes of /api, once for each form however often it is sent.
/// A refusal shows the page again with what was typed; a note that moved meanwhile is told as a conflict, with the words that
/// were not stored.
/// </summary>
internal sealed class NoteForms(Recording recording, WhoCookie cookie, NoteReads reads, NoteVersions versions)
{
    /// <summary>As for the routes of /api: two who name a new clinician at once both make the Practitioner.</summary>
    private const int Tries = 5;

    /// <summary>Fields of one statement carry its id.</summary>
    public const string TextField = "text:";

    public const string ReasonField = "reason:";

    /// <param name="command">Fills the set; answers the address to go on at.</param>
    public async Task<IResult> RunAsync(HttpContext http, string id, string act, Filled form, Func<WriteSet, Asked, CancellationToken, Task<string>> command, CancellationToken ct)
    {
        var typed = await TypedAsync(id, act, form, ct);
        try
        {
            form.Check();
            var version = form["version"];
            var asked = new Asked(version is null ? "" : $"W/\"{version}\"", form, typed, cookie.Require(http), http.RequestServices);
            // Sent twice, by a double click, it is the same wish; the second is answered as the first.
            var wish = Hash(http.Request.Path, form, asked.Who.Words);
            return await recording.OnceAsync(new IdempotencyKey("page", wish, wish), async (set, cancel) =>
            {
                var address = await command(set, asked, cancel);
                if (typed.LeftOver > 0)
                    throw Missing.Bad("text", $"You have typed something else that is not stored yet ({typed.LeftOver} of the fields on this page). Store it first with its own button, or load the page again to let it go.");
                return new Recorded<GoneOn>(StatusCodes.Status303SeeOther, address, new GoneOn(address));
            }, ct, Tries);
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.StaleVersion)
        {
            var now = await reads.ReadAsync(id, null, ct);
            var differences = await versions.CompareAsync(id, form["version"], null, ct);
            return new RazorComponentResult<ConflictPage>(new { Model = new ConflictView(now, typed, differences) }) { StatusCode = Failure.StatusOf(refused.Refusal) };
        }
        catch (RefusedException refused) when (refused.Refusal != Refusal.NotFound || form["statement"] is not null)
        {
            var page = await reads.ReadAsync(id, null, ct);
            return Page(page with { Who = cookie.Read(http), Faults = PageWords.Of(refused), Typed = typed }, Failure.StatusOf(refused.Refusal));
        }
    }

    public static RazorComponentResult<ReviewPage> Page(NotePageView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };

    /// <summary>Sets what stands in the fields beside what the page had shown in them.</summary>
    private async Task<Typed> TypedAsync(string id, string act, Filled form, CancellationToken ct)
    {
        var texts = form.Each(TextField).ToList();
        if (texts.Count > 0 && int.TryParse(form["version"], CultureInfo.InvariantCulture, out var version))
        {
            var (seen, kind) = await versions.AtAsync(id, version, ct);
            var shown = NoteStatement.Of(seen, kind).ToDictionary(s => s.Id, s => StatementLine.EditableOf(s.State, s.Text, s.DraftedText).ReplaceLineEndings("\n").Trim());
            texts.RemoveAll(t => shown.TryGetValue(t.Of, out var before) && before == t.Text);
        }

        return new Typed(
            act, form["statement"], texts.ToDictionary(t => t.Of, t => t.Text), form.Each(ReasonField).Where(r => r.Text.Length > 0).ToDictionary(r => r.Of, r => r.Text),
            form["own"], form["section"], form["reason"])
        {
            AlthoughStale = form["althoughStale"],
            AlthoughUnresolved = form["althoughUnresolved"],
        };
    }

    private static string Hash(string path, Filled form, string who)
    {
        var wish = new StringBuilder(path).Append('\n').Append(who);
        foreach (var name in form.Names.Where(n => n != Forms.TokenField).Order(StringComparer.Ordinal))
            foreach (var value in form.All(name))
                wish.Append('\n').Append(name).Append('=').Append(value.Length).Append(':').Append(value);
        return Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(wish.ToString())));
    }
}

/// <summary>Where the page goes on.</summary>
internal sealed record GoneOn(string Address);

/// <summary>What somebody wanted to do to a note that another had changed meanwhile.</summary>
/// <param name="Note">As it stands now.</param>
/// <param name="Typed">What they had typed.</param>
/// <param name="Since">What has changed since they read it.</param>
public sealed record ConflictView(NotePageView Note, Typed Typed, VersionDifference Since)
{
    public StatementLine? Line(string statement) => Note.Statements.FirstOrDefault(s => s.Statement.Id == statement);
}
