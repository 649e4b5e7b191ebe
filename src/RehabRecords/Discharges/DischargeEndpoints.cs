using FluentValidation;
using Hl7.Fhir.Model;
using Microsoft.Net.Http.Headers;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Trade;

namespace RehabRecords.Discharges;

public static class DischargeEndpoints
{
    public static void AddDischarges(this IServiceCollection services)
    {
        services.AddScoped<Discharge>();
        services.AddScoped<DischargeReads>();
        services.AddScoped(s => NoteKind.DischargeSummary with { DraftAnew = s.GetRequiredService<DischargeReads>().AnewAsync });
        services.AddScoped<CompleteDischarge>();
        services.AddSingleton<IValidator<DischargeRequest>, DischargeRequestRules>();
        services.AddSingleton<IValidator<CompletionRequest>, CompletionRules>();
    }

    public static void MapDischarges(this IEndpointRouteBuilder routes)
    {
        var discharges = routes.MapGroup("/api/discharges").WithTags("Discharges");
        discharges.MapPost("", (Posted<DischargeRequest> posted, Discharge discharge, CancellationToken ct) => discharge.BeginAsync(posted, ct))
            .Answers<DischargeView>(StatusCodes.Status201Created).Produces<DischargeView>(StatusCodes.Status200OK, "application/json").WithExample("discharge")
            .WithSummary("Begin a discharge")
            .WithDescription("Drafts the discharge summary of the person's episode from the record and from what only a person knows. Nothing ends yet: a registered clinician reads and signs the summary, and "
                + "completing the discharge then finishes episode and programmes. Open red flags, unsigned notes, open tasks, draft programmes and prescriptions to come stand in the way (409, each with address and remedy); "
                + "all but a red flag may be left open with a reason. Sent again before anybody has edited or signed the draft, it is drafted anew (200).");
        discharges.MapPost("{id}/completion", (string id, Posted<CompletionRequest> posted, CompleteDischarge complete, CancellationToken ct) => complete.RunAsync(id, posted, ct))
            .Answers<CompletionView>(StatusCodes.Status200OK).Refuses().WithExample("discharge-completion")
            .WithSummary("Complete a discharge")
            .WithDescription("Once a registered clinician has signed the summary: finishes the episode, completes its programmes and prescriptions as of the day of discharge, and makes a task of each action. "
                + "What stands in the way is looked at again (409). The answer tells everything that ended. Sessions done by the day of discharge are still taken afterwards; they make the summary stale.");
        discharges.MapGet("", ListAsync).WithSummary("List a person's discharges").WithDescription("Latest first. `person` is the person's id.");
        discharges.MapGet("blockers", BlockersAsync).WithSummary("What stands in the way of a discharge")
            .WithDescription("Of the person named by `person`, as of today: each with its address, the remedy and whether a clinician may leave it open with a reason.");
        discharges.MapGet("{id}", GetAsync).WithSummary("Read a discharge")
            .WithDescription("As JSON with the summary, what stands in the way and what became stale (application/json), the summary as a page (text/html) or plain text (text/plain), as a FHIR document "
                + "with everything it rests on (application/fhir+json, application/fhir+xml), or as a PDF (application/pdf, as of a note), by the Accept header.")
            .Produces<DischargeView>(200, "application/json").Produces<string>(200, "text/html", "text/plain", "application/fhir+json", "application/fhir+xml", "application/pdf").ProducesProblem(404).ProducesProblem(406).ProducesProblem(503);
    }

    private static async Task<IReadOnlyList<DischargeLine>> ListAsync(string person, RecordStore store, DischargeReads reads, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(Rules.Bare(person, "Patient"), "person", ct);
        return await reads.OfPersonAsync(patient.Id!, ct);
    }

    private static async Task<IReadOnlyList<BlockerView>> BlockersAsync(string person, RecordStore store, DischargeReads reads, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(Rules.Bare(person, "Patient"), "person", ct);
        return await reads.BlockersAsync(patient.Id!, ct);
    }

    private static async Task<IResult> GetAsync(string id, HttpContext context, DischargeReads reads, DocumentBuilder documents, CancellationToken ct)
    {
        var format = NoteFormats.Wanted(context.Request);
        context.Response.Headers.Vary = HeaderNames.Accept;
        if (format is null)
            return NoteFormats.NotOffered(context.Request);
        var (summary, version) = await reads.SummaryAsync(id, ct);
        return format == NoteFormats.Json ? TypedResults.Ok(await reads.ViewAsync(summary, ct)) : await NoteFormats.AnswerAsync(format, summary, version, context, documents, ct);
    }
}
