using Microsoft.AspNetCore.Http.HttpResults;

namespace RehabRecords.Pages.Person;

internal static class PersonPageEndpoints
{
    public static void MapPersonPage(this IEndpointRouteBuilder routes) => routes.MapGet("/people/{id}", GetAsync);

    private static async Task<RazorComponentResult<PersonPage>> GetAsync(string id, string? programme, string? timeline, PersonReads reads, CancellationToken ct) =>
        new(new { Model = await reads.ReadAsync(id, programme, timeline == "all", ct) });
}
