using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Pages.Caseload;

internal static class CaseloadEndpoints
{
    public const int PageSize = 50;

    public static void MapCaseload(this IEndpointRouteBuilder routes) => routes.MapGet("/caseload", GetAsync);

    private static async Task<RazorComponentResult<CaseloadPage>> GetAsync(string? find, string? why, string? order, int? page, CaseloadBook book, Audit.Witness witness, CancellationToken ct)
    {
        var all = await book.ReadAsync(ct);
        var kind = AttentionKinds.Find(why);
        var wanted = FoldedText.Of(find ?? "");
        var found = all
            .Where(p => why is null or "" or "all" || (why == "any" ? p.Attention.Count > 0 : kind is { } k && p.Attention.Any(a => a.Kind == k)))
            .Where(p => wanted.Length == 0 || FoldedText.Of($"{p.Name} {p.SortName} {p.Identifier}").Contains(wanted, StringComparison.Ordinal));
        var sorted = (order switch
        {
            "name" => found.OrderBy(p => FoldedText.Of(p.SortName), StringComparer.Ordinal),
            "last-report" => found.OrderBy(p => p.LastReport ?? DateOnly.MinValue),
            _ => found.OrderBy(p => p.Attention.Count == 0 ? int.MaxValue : (int)p.Attention[0].Kind).ThenBy(p => p.Attention.Count == 0 ? DateOnly.MaxValue : p.Attention[0].Since),
        }).ThenBy(p => p.SortName, StringComparer.Ordinal).ThenBy(p => p.Id, StringComparer.Ordinal).ToList();
        var last = Math.Max(1, (sorted.Count + PageSize - 1) / PageSize);
        var at = Math.Clamp(page ?? 1, 1, last);
        CaseloadLine[] shown = [.. sorted.Skip((at - 1) * PageSize).Take(PageSize)];
        witness.Saw(shown.Select(p => p.Id));
        return new RazorComponentResult<CaseloadPage>(new
        {
            Model = new CaseloadView(
                shown, sorted.Count, all.Count, all.Count(p => p.Attention.Count > 0), at, last, book.Today, find ?? "", why ?? "all", order ?? "attention"),
        });
    }
}

/// <summary>What the caseload page shows, and how it was asked for.</summary>
public sealed record CaseloadView(
    IReadOnlyList<CaseloadLine> Lines, int Found, int All, int NeedAttention, int Page, int Pages, DateOnly Today, string Find, string Why, string Order)
{
    public string Address(int page) =>
        $"/caseload?find={Uri.EscapeDataString(Find)}&why={Uri.EscapeDataString(Why)}&order={Uri.EscapeDataString(Order)}&page={page}";

    public string Ago(DateOnly day) => (Today.DayNumber - day.DayNumber) switch
    {
        0 => "today",
        1 => "yesterday",
        > 1 and var days => $"{days} days ago",
        _ => "ahead of today",
    };
}
