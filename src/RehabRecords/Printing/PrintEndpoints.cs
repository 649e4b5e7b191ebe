using Hl7.Fhir.Model;
using RehabRecords.Documents;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Pages.Sheets;

namespace RehabRecords.Printing;

/// <summary>Addresses of PDF files that a page can link to; programs ask /api for application/pdf.</summary>
internal static class PrintEndpoints
{
    public static void AddPrinting(this IServiceCollection services)
    {
        services.AddSingleton<Printer>();
        services.AddScoped<PrintedNote>();
        services.AddSingleton<PrintedSheet>();
    }

    public static void MapPrinting(this IEndpointRouteBuilder app)
    {
        var files = app.MapGroup("").ExcludeFromDescription();
        files.MapGet("/programmes/{id}/home-sheet.pdf", async (string id, string? size, string? paper, SheetReads sheets, PrintedSheet printed, HttpContext http, CancellationToken ct) =>
            await printed.AnswerAsync<HomeSheet>("Practice at home", await sheets.ReadAsync(id, size, paper, ct), id, http, ct));
        files.MapGet("/programmes/{id}/diary-sheet.pdf", async (string id, string? size, string? paper, SheetReads sheets, PrintedSheet printed, HttpContext http, CancellationToken ct) =>
            await printed.AnswerAsync<DiarySheet>("Diary", await sheets.ReadAsync(id, size, paper, ct), id, http, ct));
        files.MapGet("/notes/{id}/document.pdf", NoteAsync);
    }

    /// <summary>Every kind of document: progress notes, discharge summaries.</summary>
    private static async Task<IResult> NoteAsync(string id, RecordStore store, DocumentKinds kinds, PrintedNote printed, HttpContext http, CancellationToken ct) =>
        await store.GetAsync<Composition>(id, ct) is var (note, version) && kinds.Of(note) is not null
            ? await printed.AnswerAsync(note, version, http, ct)
            : throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no document '{Trade.Rules.Shown(id)}'; the page of a person lists theirs.", "id");
}
