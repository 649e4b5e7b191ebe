using System.Text.Json;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.HomeLinks;
using RehabRecords.Pages.Desk;
using RehabRecords.Pages.Sheets;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Home;

/// <summary>The clinician's page of a programme's links.</summary>
public sealed record LinksView(string Programme, string Title, string Person, string PersonName, IReadOnlyList<HomeLinkView> Links)
{
    /// <summary>Of the form: the same form sent twice makes one link.</summary>
    public string Once { get; init; } = Guid.NewGuid().ToString("N");

    /// <summary>The address of a link that was just made, and the same as a QR code: shown this once.</summary>
    public (string Address, string Code)? Made { get; init; }

    /// <summary>The form had been sent before, and its address was shown then.</summary>
    public bool MadeBefore { get; init; }

    public IReadOnlyDictionary<string, string> Typed { get; init; } = new Dictionary<string, string>();

    public Faults Faults { get; init; } = Faults.None;

    public string Address => $"/programmes/{Programme}/home-links";
}

internal static class LinksEndpoints
{
    public static void MapHomeLinkPages(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/programmes/{id}/home-links", async (string id, HttpContext http, HandOutHomeLink links, RecordStore store, CancellationToken ct) =>
            Page(await ViewAsync(id, http, links, store, ct)));
        routes.MapPost("/programmes/{id}/home-links", MakeAsync);
        routes.MapPost("/programmes/{id}/home-links/{link}/revocation", RevokeAsync);
    }

    private static async Task<IResult> MakeAsync(string id, IFormCollection form, HttpContext http, HandOutHomeLink links, RecordStore store, CancellationToken ct)
    {
        var typed = new Typed();
        try
        {
            var asked = await typed.AskAsync(http, new HomeLinkRequest
            {
                For = form.Text("for"),
                ValidUntil = typed.Day("validUntil", form.Text("validUntil")),
                By = ClinicianFields.By(http, form, "by").ToClinician(),
            }, ct, form.Text("once"));
            var kept = (KeptAnswer)await links.MakeAsync(id, asked, ct);
            var address = JsonSerializer.Deserialize<HomeLinkAnswer>(kept.Answer.Body.Span, TradeJson.Options)!.Address;
            // Not by way of another address: it would have to carry the secret.
            return Page(await ViewAsync(id, http, links, store, ct) with { Made = address is null ? null : (address, QrCode.Svg(address)), MadeBefore = address is null });
        }
        catch (RefusedException refused) when (refused.Refusal is not (Refusal.Unavailable or Refusal.NotFound))
        {
            return Page(await RefusedAsync(id, http, form, refused, "", links, store, ct), Host.Failure.StatusOf(refused.Refusal));
        }
    }

    private static async Task<IResult> RevokeAsync(string id, string link, IFormCollection form, HttpContext http, HandOutHomeLink links, RecordStore store, CancellationToken ct)
    {
        try
        {
            var asked = await new Typed().AskAsync(http, new HomeLinkRevocationRequest { Reason = form.Text("reason"), By = ClinicianFields.By(http, form, "by").ToClinician() }, ct);
            await links.RevokeAsync(link, asked, ct);
            http.Response.Headers.Location = $"/programmes/{id}/home-links";
            return Results.StatusCode(StatusCodes.Status303SeeOther);
        }
        catch (RefusedException refused) when (refused.Refusal is not (Refusal.Unavailable or Refusal.NotFound))
        {
            return Page(await RefusedAsync(id, http, form, refused, link, links, store, ct), Host.Failure.StatusOf(refused.Refusal));
        }
    }

    private static async Task<LinksView> RefusedAsync(string id, HttpContext http, IFormCollection form, RefusedException refused, string of, HandOutHomeLink links, RecordStore store, CancellationToken ct) =>
        await ViewAsync(id, http, links, store, ct) with
        {
            Typed = form.Where(f => f.Key[0] != '_').ToDictionary(f => f.Key, f => f.Value.ToString(), StringComparer.Ordinal),
            Faults = new Faults(refused.Issues, of),
        };

    private static async Task<LinksView> ViewAsync(string id, HttpContext http, HandOutHomeLink links, RecordStore store, CancellationToken ct)
    {
        var (programme, _) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        var who = ClinicianFields.Working(http);
        var person = Rules.Bare(programme.Subject.Reference!, "Patient");
        return new LinksView(id, programme.Title ?? "Programme", person, DeskReads.NameOf((await store.RoutedAsync<Patient>(person, "person", ct)).Resource), await links.ListAsync(id, ct))
        {
            Typed = new Dictionary<string, string> { ["by.name"] = who.Name ?? "", ["by.role"] = who.Role ?? "", ["by.registration"] = who.Registration ?? "" },
        };
    }

    private static RazorComponentResult<LinksPage> Page(LinksView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };
}
