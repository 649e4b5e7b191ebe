using Microsoft.AspNetCore.Http.HttpResults;

namespace RehabRecords.Pages.Library;

internal static class LibraryPageEndpoints
{
    public static void MapLibraryPages(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/library", async (string? find, LibraryPageReads library, CancellationToken ct) =>
            new RazorComponentResult<LibraryPage>(new { Model = await library.FindAsync(find, ct) }));
        routes.MapGet("/library/exercises/{code}", async (string code, LibraryPageReads library, CancellationToken ct) =>
            new RazorComponentResult<ExercisePage>(new { Model = await library.ExerciseAsync(code, ct) }));
        routes.MapGet("/library/templates/{code}", async (string code, LibraryPageReads library, CancellationToken ct) =>
            new RazorComponentResult<TemplatePage>(new { Model = await library.TemplateAsync(code, ct) }));
    }
}
