using Microsoft.AspNetCore.Http.HttpResults;

namespace RehabRecords.Pages.Sheets;

internal static class SheetEndpoints
{
    public static void MapSheets(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/programmes/{id}/home-sheet", async (string id, string? size, string? paper, SheetReads sheets, CancellationToken ct) =>
            new RazorComponentResult<HomeSheet>(new { Model = await sheets.ReadAsync(id, size, paper, ct) }));
        routes.MapGet("/programmes/{id}/diary-sheet", async (string id, string? size, string? paper, SheetReads sheets, CancellationToken ct) =>
            new RazorComponentResult<DiarySheet>(new { Model = await sheets.ReadAsync(id, size, paper, ct) }));
    }
}
