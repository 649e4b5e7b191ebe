using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Discharges;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Letters;
using RehabRecords.Pages.Desk;
using RehabRecords.Pages.You;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Leaving;

/// <summary>Pages for when somebody leaves: a discharge from form to completion, and a letter to the next team. The forms call what /api calls.</summary>
internal static class LeavingEndpoints
{
    public static void MapLeaving(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/people/{id}/discharge", async (string id, HttpContext http, LeavingReads reads, CancellationToken ct) => Page(await reads.FormAsync(id, ClinicianFields.Working(http), ct)));
        routes.MapPost("/people/{id}/discharge", BeginAsync);
        routes.MapGet("/discharges/{id}", async (string id, HttpContext http, LeavingReads reads, CancellationToken ct) => Page(await reads.DischargeAsync(id, ClinicianFields.Working(http), ct)));
        routes.MapPost("/discharges/{id}/completion", CompleteAsync);
        routes.MapGet("/people/{id}/letters/new", async (string id, HttpContext http, LeavingReads reads, CancellationToken ct) => Page(await reads.LetterAsync(id, ClinicianFields.Working(http), ct)));
        routes.MapPost("/people/{id}/letters/new", WriteAsync);
    }

    private static async Task<IResult> BeginAsync(string id, IFormCollection form, HttpContext http, Discharge discharge, LeavingReads reads, CancellationToken ct)
    {
        var (fields, typed) = (DischargeFields.Of(form).By(http, "author"), new Typed());
        try
        {
            var begun = await discharge.BeginAsync(await typed.AskAsync(http, DischargeFields.ToRequest(fields, id, typed), ct), ct);
            return new SeeOther($"/discharges/{((KeptAnswer)begun).Location.Split('/')[^1]}");
        }
        catch (RefusedException refused) when (IsTold(refused))
        {
            return Page(await reads.FormAsync(id, new(), ct) with { Fields = fields, Faults = Told(refused, fields) }, Host.Failure.StatusOf(refused.Refusal));
        }
    }

    private static async Task<IResult> CompleteAsync(string id, IFormCollection form, HttpContext http, CompleteDischarge complete, LeavingReads reads, CancellationToken ct)
    {
        var (fields, typed) = (RequestFields.Of(form).By(http, "by"), new Typed());
        try
        {
            await complete.RunAsync(id, await typed.AskAsync(http, new CompletionRequest
            {
                By = fields.Clinician("by").ToClinician(),
                Overrides = fields.Overrides.Count == 0 ? null : fields.Overrides,
            }, ct), ct);
            return new SeeOther($"/discharges/{id}");
        }
        catch (RefusedException refused) when (IsTold(refused))
        {
            return Page(await reads.DischargeAsync(id, new(), ct) with { Fields = fields, Faults = Told(refused, fields) }, Host.Failure.StatusOf(refused.Refusal));
        }
    }

    private static async Task<IResult> WriteAsync(string id, IFormCollection form, HttpContext http, WriteLetter write, LeavingReads reads, CancellationToken ct)
    {
        var (fields, typed) = (LetterFields.Of(form).By(http, "author"), new Typed());
        try
        {
            var written = await write.RunAsync(await typed.AskAsync(http, LetterFields.ToRequest(fields, id, typed), ct, form.Text("once")), ct);
            return new SeeOther($"/notes/{((KeptAnswer)written).Location.Split('/')[^1]}");
        }
        catch (RefusedException refused) when (IsTold(refused))
        {
            return Page(await reads.LetterAsync(id, new(), ct) with { Fields = fields, Faults = Told(refused, fields) }, Host.Failure.StatusOf(refused.Refusal));
        }
    }

    private static bool IsTold(RefusedException refused) => refused.Refusal is not (Refusal.Unavailable or Refusal.NotFound);

    private static Faults Told(RefusedException refused, RequestFields fields) =>
        new([.. refused.Issues.Select(i => i with { Expression = fields.FieldOf(i.Expression), Message = Words(refused, i) })]);

    /// <summary>What stands in the way is listed on the page with the way to settle it; its own message is for programs.</summary>
    private static string Words(RefusedException refused, Issue issue) =>
        refused.Refusal != Refusal.Conflict || !issue.Expression.Contains('/', StringComparison.Ordinal) ? PageWords.Of(issue.Message)
        : issue.Expression.StartsWith("Flag/", StringComparison.Ordinal) ? "A red flag stands in the way of the discharge. Clear it first; it cannot be left open."
        : "This stands in the way of the discharge. Settle it first, or say here why it may stay open.";

    private static RazorComponentResult<DischargeFormPage> Page(DischargeFormView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };

    private static RazorComponentResult<DischargePage> Page(DischargePageView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };

    private static RazorComponentResult<LetterFormPage> Page(LetterFormView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };
}

/// <summary>Reads what the pages for leaving show.</summary>
internal sealed class LeavingReads(RecordStore store, DischargeReads discharges, Caseload.CaseloadBook book)
{
    /// <exception cref="RefusedException">There is no such person.</exception>
    public async Task<DischargeFormView> FormAsync(string person, ClinicianFields who, CancellationToken ct)
    {
        var name = await NameAsync(person, ct);
        var draft = (await discharges.OfPersonAsync(person, ct)).FirstOrDefault(d => d.Status == "draft");
        var stated = draft is null ? new DischargeRequest { DischargedOn = book.Today }
            : (await discharges.RecordAsync((await discharges.SummaryAsync(draft.Id, ct)).Summary, ct)).Form.Stated;
        return new DischargeFormView(person, name, DischargeFields.Of(stated, who))
        {
            Blockers = await discharges.BlockersAsync(person, ct),
            Draft = draft is null ? null : $"/discharges/{draft.Id}",
        };
    }

    public async Task<DischargePageView> DischargeAsync(string id, ClinicianFields who, CancellationToken ct)
    {
        var (summary, _) = await discharges.SummaryAsync(id, ct);
        var view = await discharges.ViewAsync(summary, ct);
        return new DischargePageView(view, view.Summary.PersonName, new RequestFields { ["by.name"] = who.Name, ["by.role"] = who.Role, ["by.registration"] = who.Registration });
    }

    public async Task<LetterFormView> LetterAsync(string person, ClinicianFields who, CancellationToken ct) =>
        new(person, await NameAsync(person, ct), new RequestFields
        {
            ["once"] = Guid.CreateVersion7().ToString("N"),
            ["author.name"] = who.Name,
            ["author.role"] = who.Role,
            ["author.registration"] = who.Registration,
        });

    private async Task<string> NameAsync(string person, CancellationToken ct) => DeskReads.NameOf((await store.RoutedAsync<Patient>(person, "person", ct)).Resource);
}
