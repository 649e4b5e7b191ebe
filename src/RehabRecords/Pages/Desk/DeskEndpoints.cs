using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Briefings;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Programmes;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Desk;

/// <summary>
/// The desk on which programmes are made. Every form calls the command that the trade interface calls; a refusal shows the
/// page again with what was typed.
/// </summary>
internal static class DeskEndpoints
{
    /// <summary>A long draft has some thirty fields for each exercise.</summary>
    private const int MostFields = 4096;

    /// <summary>Of a draft that has become another one the rest is not worth telling field by field.</summary>
    private const int MostDifferences = 40;

    public static void MapDesk(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/people/{id}/programmes/new", async (string id, HttpContext http, DeskReads desk, CancellationToken ct) =>
            New(await desk.NewAsync(id, ClinicianFields.Working(http), ct)));
        routes.MapPost("/people/{id}/programmes/new", BeginAsync);
        routes.MapGet("/programmes/{id}/desk", async (string id, string? done, HttpContext http, DeskReads desk, CancellationToken ct) =>
            Page(await desk.ReadAsync(id, ClinicianFields.Working(http), ct) with { Done = DoneWords.GetValueOrDefault(done ?? "") }));
        routes.MapPost("/programmes/{id}/desk", SaveAsync).WithFormOptions(valueCountLimit: MostFields);
        routes.MapPost("/programmes/{id}/desk/activation", (string id, IFormCollection form, HttpContext http, ActivateProgramme activate, CancellationToken ct) =>
            ChangeAsync(id, form, http, "activation", "handed-over", async typed =>
            {
                await RefuseIfMovedAsync(http, id, form, ct);
                await activate.RunAsync(id, await typed.AskAsync(http, new ActivationRequest { By = ClinicianFields.By(http, form, "by").ToClinician() }, ct), ct);
            }, ct));
        routes.MapPost("/programmes/{id}/desk/withdrawal", (string id, IFormCollection form, HttpContext http, WithdrawDraft withdraw, CancellationToken ct) =>
            ChangeAsync(id, form, http, "withdrawal", "withdrawn", async typed =>
            {
                await RefuseIfMovedAsync(http, id, form, ct);
                await withdraw.RunAsync(id, await typed.AskAsync(http, new DraftWithdrawalRequest { By = ClinicianFields.By(http, form, "by").ToClinician(), Reason = form.Text("reason") }, ct), ct);
            }, ct));
        routes.MapPost("/programmes/{id}/desk/briefing", (string id, IFormCollection form, HttpContext http, Brief brief, CancellationToken ct) =>
            ChangeAsync(id, form, http, "brief", "briefed", async typed => await brief.GiveAsync(id, await typed.AskAsync(http, new BriefingRequest
            {
                Points = form.Text("points")?.Split('\n', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries) ?? [],
                By = ClinicianFields.By(http, form, "by").ToClinician(),
                Required = form.ContainsKey("required"),
            }, ct), ct), ct));
        routes.MapPost("/programmes/{id}/desk/acknowledgement", (string id, IFormCollection form, HttpContext http, Brief brief, CancellationToken ct) =>
            ChangeAsync(id, form, http, "acknowledgement", "answered", async typed => await brief.AcknowledgeAsync(id, await typed.AskAsync(http, new AcknowledgementRequest
            {
                Understood = form.Text("understood") switch { "yes" => true, "no" => false, _ => null },
                ShownBack = form.Text("shownBack"),
                Witness = ClinicianFields.Of(form, "witness").ToClinician(),
            }, ct), ct), ct));
        routes.MapChanges();
    }

    private static readonly Dictionary<string, string> DoneWords = new(StringComparer.Ordinal)
    {
        ["begun"] = "The draft is begun. Tailor it below.",
        ["saved"] = "The draft is saved.",
        ["handed-over"] = "The programme is handed over.",
        ["withdrawn"] = "The draft is withdrawn.",
        ["briefed"] = "The briefing is recorded.",
        ["answered"] = "The carer's answer is recorded.",
        ["decided"] = "The decision is recorded.",
        ["revised"] = "The programme is revised.",
        ["paused"] = "The pause is recorded.",
        ["pause-ended"] = "The pause is ended.",
    };

    private static async Task<IResult> BeginAsync(string id, IFormCollection form, HttpContext http, DeskReads desk, PrescribeProgramme prescribe, CancellationToken ct)
    {
        var (fields, typed) = (NewFields.Of(http, form), new Typed());
        var view = await desk.NewAsync(id, fields.Author, ct);
        try
        {
            var levels = await desk.LevelsAsync(fields.From, ct);
            var asked = await typed.AskAsync(http, fields.ToRequest(id, levels, typed), ct, fields.Once);
            var made = await prescribe.RunAsync(asked, ct);
            return See(http, $"/programmes/{((KeptAnswer)made).Location.Split('/')[^1]}/desk?done=begun");
        }
        catch (RefusedException refused) when (refused.Refusal != Refusal.Unavailable)
        {
            return New(view with { Fields = fields, Faults = new Faults(refused.Issues) }, Host.Failure.StatusOf(refused.Refusal));
        }
    }

    private static async Task<IResult> SaveAsync(string id, IFormCollection form, HttpContext http, DeskReads desk, RewriteDraft rewrite, CancellationToken ct)
    {
        var (fields, typed) = (DeskFields.Of(http, form), new Typed());
        var view = await desk.ReadAsync(id, ClinicianFields.Working(http), ct);
        // Whoever signs in and saves a draft does not become its prescriber by that.
        if (view.Programme.Author is not null && ClinicianFields.SignedIn(http) is not null)
            fields = fields with { Author = new() };
        if (!view.IsDraft)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"The programme was handed over or withdrawn while it was on your desk (it is {view.Programme.Status}), so it is not written anew. Open {view.Address} for the ways to change it.", "id");
        try
        {
            var asked = await typed.AskAsync(http, fields.ToRequest(view.Programme, typed), ct);
            await rewrite.RunAsync(http, id, TagOf(form), asked, ct);
            return See(http, $"{view.Address}?done=saved");
        }
        catch (RefusedException refused) when (refused.Refusal != Refusal.Unavailable)
        {
            var stale = refused.Refusal == Refusal.StaleVersion;
            return Page(view with
            {
                Fields = fields,
                // Whoever was told of the other's changes and saves again has decided; until then the form keeps the version it was made from.
                Version = stale || !int.TryParse(form["version"], out var seen) ? view.Version : seen,
                Faults = new Faults(stale ? [.. Moved(refused.Issues[0], view.Fields, fields)] : refused.Issues),
            }, Host.Failure.StatusOf(refused.Refusal));
        }
    }

    /// <summary>Runs a command of one of the small forms; a refusal shows the page again with what was typed.</summary>
    internal static async Task<IResult> ChangeAsync(string id, IFormCollection form, HttpContext http, string kind, string done, Func<Typed, System.Threading.Tasks.Task> command, CancellationToken ct)
    {
        try
        {
            await command(new Typed());
            return See(http, $"/programmes/{id}/desk?done={done}");
        }
        catch (RefusedException refused) when (refused.Refusal is not (Refusal.Unavailable or Refusal.NotFound))
        {
            var view = await http.RequestServices.GetRequiredService<DeskReads>().ReadAsync(id, ClinicianFields.Working(http), ct);
            return Page(view with
            {
                Typed = form.Where(f => f.Key[0] != '_').ToDictionary(f => f.Key, f => f.Value.ToString(), StringComparer.Ordinal),
                Faults = new Faults([.. refused.Issues.Select(i => i with { Expression = OfForm(i.Expression) })], kind),
            }, Host.Failure.StatusOf(refused.Refusal));
        }
    }

    /// <summary>A form has one exercise where the request has a list of one.</summary>
    private static string OfForm(string field) =>
        field is "add[0]" or "change[0]" ? "" : field.StartsWith("add[0].", StringComparison.Ordinal) || field.StartsWith("change[0].", StringComparison.Ordinal)
            ? field[(field.IndexOf('.', StringComparison.Ordinal) + 1)..] : field == "stop[0]" ? "exercise" : field;

    /// <summary>What is handed over is what was on the page, not what somebody else has made of it since.</summary>
    private static async System.Threading.Tasks.Task RefuseIfMovedAsync(HttpContext http, string id, IFormCollection form, CancellationToken ct)
    {
        if (await http.RequestServices.GetRequiredService<RecordStore>().ReadAsync("CarePlan", id, ct) is { } current)
            VersionTag.Require(current, TagOf(form), "version");
    }

    /// <summary>What the draft says now, beside each field in which it differs from what was typed.</summary>
    private static IEnumerable<Issue> Moved(Issue issue, DeskFields saved, DeskFields typed)
    {
        yield return issue with
        {
            Message = "Somebody else has saved this draft since you opened it, and your changes are not saved. What you typed stands below, and beside each field that differs what is saved now. "
                + "Take over what should stay; saving again puts what stands below in its place.",
            Expression = "",
        };
        var now = saved.All().ToDictionary(f => f.Field, f => f.Value, StringComparer.Ordinal);
        var mine = typed.All().ToDictionary(f => f.Field, f => f.Value, StringComparer.Ordinal);
        foreach (var field in now.Keys.Union(mine.Keys).Where(f => now.GetValueOrDefault(f) != mine.GetValueOrDefault(f)).Take(MostDifferences))
            yield return issue with { Message = $"{field}: saved now is {Shown(now.GetValueOrDefault(field))}, typed is {Shown(mine.GetValueOrDefault(field))}.", Expression = field };

        static string Shown(string? value) => value is null ? "nothing" : $"“{Rules.Shown(value)}”";
    }

    private static string TagOf(IFormCollection form) => int.TryParse(form["version"], out var version) && version > 0 ? VersionTag.Of(version) : "";

    private static RazorComponentResult<NewProgrammePage> New(NewProgrammeView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };

    internal static IResult Page(DeskView view, int status = StatusCodes.Status200OK) => view.IsDraft
        ? new RazorComponentResult<DraftPage>(new { Model = view }) { StatusCode = status }
        : new RazorComponentResult<InForcePage>(new { Model = view }) { StatusCode = status };

    /// <summary>After a post the browser reads the page anew, so that a reload sends nothing again.</summary>
    private static IResult See(HttpContext http, string address)
    {
        http.Response.Headers.Location = address;
        return Results.StatusCode(StatusCodes.Status303SeeOther);
    }
}
