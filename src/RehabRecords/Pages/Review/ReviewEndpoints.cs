using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Documents;
using RehabRecords.Fhir;
using RehabRecords.Pages.You;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Review;

internal static class ReviewEndpoints
{
    public static void AddReview(this IServiceCollection services)
    {
        services.AddScoped<EvidenceReads>();
        services.AddScoped<NoteReads>();
        services.AddScoped<NoteForms>();
    }

    public static void MapReview(this IEndpointRouteBuilder routes)
    {
        routes.MapFlagPage();
        var note = routes.MapGroup("/notes/{id}");
        note.MapGet("", async (string id, int? version, string? done, HttpContext http, NoteReads reads, WhoCookie cookie, CancellationToken ct) =>
            NoteForms.Page(await reads.ReadAsync(id, version, ct) with { Who = cookie.Read(http), Done = done }));
        note.MapGet("statements/{statement}", StatementAsync);
        note.MapGet("versions", VersionsAsync);

        note.MapPost("accept", (string id, Filled form, HttpContext http, NoteForms forms, EditNote edit, CancellationToken ct) =>
            forms.RunAsync(http, id, "accept", form, async (set, asked, cancel) =>
            {
                var request = await asked.CheckedAsync(new AcceptanceRequest { By = asked.Who.Signer(), Statements = form["statement"] is { } one ? [one] : null }, cancel);
                await edit.AcceptAsync(set, id, asked.IfMatch, request, cancel);
                return At(id, form["statement"] is null ? "all-accepted" : "accepted", form["statement"]);
            }, ct));
        note.MapPost("edit", (string id, Filled form, HttpContext http, NoteForms forms, EditNote edit, CancellationToken ct) =>
            forms.RunAsync(http, id, "edit", form, async (set, asked, cancel) =>
            {
                if (asked.Typed.Texts.Count == 0)
                    throw Missing.Bad("text", "No statement reads otherwise than before, so there is nothing to store. Change its words first.");
                var edits = new List<(string, EditRequest)>();
                foreach (var (statement, text) in asked.Typed.Texts)
                    edits.Add((statement, await asked.CheckedAsync(new EditRequest { By = asked.Who.Signer(), Text = text.Length == 0 ? null : text }, cancel)));
                await edit.EditAsync(set, id, asked.IfMatch, edits, cancel);
                return At(id, "edited", form["statement"] ?? asked.Typed.Texts.Keys.First());
            }, ct));
        note.MapPost("remove", (string id, Filled form, HttpContext http, NoteForms forms, EditNote edit, CancellationToken ct) =>
            forms.RunAsync(http, id, "remove", form, async (set, asked, cancel) =>
            {
                var statement = Statement(form);
                var request = await asked.CheckedAsync(new RemovalRequest { By = asked.Who.Signer(), Reason = asked.Typed.Reasons.GetValueOrDefault(statement) }, cancel);
                await edit.RemoveAsync(set, id, asked.IfMatch, statement, request, cancel);
                return At(id, "removed", statement);
            }, ct));
        note.MapPost("restore", (string id, Filled form, HttpContext http, NoteForms forms, EditNote edit, CancellationToken ct) =>
            forms.RunAsync(http, id, "restore", form, async (set, asked, cancel) =>
            {
                var request = await asked.CheckedAsync(new RestorationRequest { By = asked.Who.Signer() }, cancel);
                await edit.RestoreAsync(set, id, asked.IfMatch, Statement(form), request, cancel);
                return At(id, "restored", form["statement"]);
            }, ct));
        note.MapPost("add", (string id, Filled form, HttpContext http, NoteForms forms, EditNote edit, CancellationToken ct) =>
            forms.RunAsync(http, id, "add", form, async (set, asked, cancel) =>
            {
                var request = await asked.CheckedAsync(new OwnStatementRequest { By = asked.Who.Signer(), Section = form["section"], Text = form["own"] }, cancel);
                await edit.AddAsync(set, id, asked.IfMatch, request, cancel);
                return At(id, "added", null);
            }, ct));
        note.MapPost("refresh", (string id, Filled form, HttpContext http, NoteForms forms, RefreshNote refresh, CancellationToken ct) =>
            forms.RunAsync(http, id, "refresh", form, async (set, asked, cancel) =>
            {
                await refresh.RunAsync(set, id, asked.IfMatch, await asked.CheckedAsync(new RefreshRequest { By = asked.Who.Signer() }, cancel), cancel);
                return At(id, "refreshed", null);
            }, ct));
        note.MapPost("sign", (string id, Filled form, HttpContext http, NoteForms forms, SignNote sign, CancellationToken ct) =>
            forms.RunAsync(http, id, "sign", form, async (set, asked, cancel) =>
            {
                var outcome = await sign.SignAsync(set, id, asked.IfMatch, await SignatureAsync(asked, cancel), null, cancel);
                return At(id, outcome.Signed is null ? "waiting" : "signed", null);
            }, ct));
        note.MapPost("countersign", (string id, Filled form, HttpContext http, NoteForms forms, SignNote sign, CancellationToken ct) =>
            forms.RunAsync(http, id, "countersign", form, async (set, asked, cancel) =>
            {
                await sign.CountersignAsync(set, id, asked.IfMatch, await SignatureAsync(asked, cancel), null, cancel);
                return At(id, "signed", null);
            }, ct));
        note.MapPost("amend", (string id, Filled form, HttpContext http, NoteForms forms, AmendNote amend, CancellationToken ct) =>
            forms.RunAsync(http, id, "amend", form, async (set, asked, cancel) =>
                At((await amend.BeginAsync(set, id, asked.IfMatch, await ReasonAsync(asked, cancel), cancel)).Id!, "amending", null), ct));
        note.MapPost("withdraw", (string id, Filled form, HttpContext http, NoteForms forms, AmendNote amend, CancellationToken ct) =>
            forms.RunAsync(http, id, "withdraw", form, async (set, asked, cancel) =>
            {
                await amend.WithdrawAsync(set, id, asked.IfMatch, await ReasonAsync(asked, cancel), cancel);
                return At(id, "withdrawn", null);
            }, ct));
    }

    /// <summary>Signing is meant: a box says so, besides the button.</summary>
    private static Task<SignatureRequest> SignatureAsync(Asked asked, CancellationToken ct) => asked.Form["read"] is null
        ? throw Missing.Bad("read", "The box “I have read this …” is not ticked. Who signs answers for the words as they stand; read them, tick the box and sign.")
        : asked.CheckedAsync(new SignatureRequest { By = asked.Who.Signer(), AlthoughStale = asked.Form["althoughStale"], AlthoughUnresolved = asked.Form["althoughUnresolved"] }, ct);

    private static Task<AmendmentRequest> ReasonAsync(Asked asked, CancellationToken ct) =>
        asked.CheckedAsync(new AmendmentRequest { By = asked.Who.Signer(), Reason = asked.Form["reason"] }, ct);

    private static string Statement(Filled form) => form["statement"] ?? throw Missing.Bad("statement", "The form does not say which statement it is about; load the page again and send it from there.");

    private static string At(string id, string done, string? statement) => $"/notes/{id}?done={done}{(statement is null ? "" : $"#s-{statement}")}";

    private static async Task<RazorComponentResult<StatementPage>> StatementAsync(string id, string statement, int? version, NoteReads reads, CancellationToken ct)
    {
        var note = await reads.ReadAsync(id, version, ct);
        var line = note.Statements.FirstOrDefault(s => s.Statement.Id == statement)
            ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"The note has no statement '{Rules.Shown(statement)}' at version {note.Version}. Go back to the note and choose one of its statements.", "statement");
        return new(new { Note = note, Line = line });
    }

    private static async Task<RazorComponentResult<VersionsPage>> VersionsAsync(string id, string? from, string? to, NoteReads reads, NoteVersions versions, CancellationToken ct)
    {
        var note = await reads.ReadAsync(id, null, ct);
        return new(new { Model = new VersionsView(note, await versions.ListAsync(id, ct), await versions.CompareAsync(id, from, to, ct)) });
    }
}

/// <summary>All versions of a note and of its amendments, and two of them compared.</summary>
public sealed record VersionsView(NotePageView Note, IReadOnlyList<VersionLine> Versions, VersionDifference Compared)
{
    public string NameOf(VersionLine line) => $"{line.Note}/{line.Version}";

    public bool IsFrom(VersionLine line) => line.Composition == Compared.From;

    public bool IsTo(VersionLine line) => line.Composition == Compared.To;
}
