using FluentValidation;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Flags;
using RehabRecords.Host;
using RehabRecords.Pages.Desk;
using RehabRecords.Pages.You;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Review;

/// <summary>A red flag, what it rests on, and who may be going to clear it.</summary>
public sealed record FlagPageView(FlagAnswer Flag, string PersonName, EvidenceLine? Source, Who? Who, string? Reason, IReadOnlyList<string> Faults);

/// <summary>The page on which a clinician clears a red flag with a reason.</summary>
internal static class FlagPageEndpoints
{
    public static void MapFlagPage(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/flags/{id}", async (string id, HttpContext http, RecordStore store, EvidenceReads evidence, WhoCookie cookie, CancellationToken ct) =>
            Page(await ReadAsync(id, store, evidence, cookie.Read(http), ct)));
        routes.MapPost("/flags/{id}", ClearAsync);
    }

    private static async Task<IResult> ClearAsync(
        string id, Filled form, HttpContext http, ClearFlag clear, RecordStore store, EvidenceReads evidence, WhoCookie cookie, IValidator<ClearanceRequest> rules, CancellationToken ct)
    {
        try
        {
            form.Check();
            var request = new ClearanceRequest { By = cookie.Require(http).Clinician(), Reason = form["reason"] };
            await PostedBody.CheckAsync(rules, request, ct);
            await clear.RunAsync(id, new Posted<ClearanceRequest>(request, "", null), ct);
            return new SeeOther($"/flags/{id}");
        }
        catch (RefusedException refused) when (refused.Refusal != Refusal.NotFound)
        {
            return Page(await ReadAsync(id, store, evidence, cookie.Read(http), ct) with { Reason = form["reason"], Faults = PageWords.Of(refused) }, Failure.StatusOf(refused.Refusal));
        }
    }

    private static async Task<FlagPageView> ReadAsync(string id, RecordStore store, EvidenceReads evidence, Who? who, CancellationToken ct)
    {
        var flag = (await FlagEndpoints.RedFlagAsync(id, store, ct)).Flag.ToAnswer();
        var source = flag.Source?.Split('/') is [var type, var of] ? await store.ReadAsync(type, of, ct) : null;
        var patient = flag.Person?.Split('/')[^1] is { } person ? (await store.GetAsync<Patient>(person, ct))?.Resource : null;
        return new FlagPageView(flag, patient is null ? "the person's page" : DeskReads.NameOf(patient), source is null ? null : (await evidence.OfAsync([source.VersionedAddress], ct)).Values.First(), who, null, []);
    }

    private static RazorComponentResult<FlagPage> Page(FlagPageView view, int status = StatusCodes.Status200OK) => new(new { Model = view }) { StatusCode = status };
}
