using RehabRecords.Pages.Caseload;
using RehabRecords.Pages.Conflicts;
using RehabRecords.Pages.Desk;
using RehabRecords.Pages.Home;
using RehabRecords.Pages.Leaving;
using RehabRecords.Pages.Library;
using RehabRecords.Pages.Person;
using RehabRecords.Pages.Received;
using RehabRecords.Pages.Review;
using RehabRecords.Pages.Sheets;
using RehabRecords.Pages.Tasks;
using RehabRecords.Pages.You;

namespace RehabRecords.Pages;

/// <summary>The pages for people: rendered here as whole documents, usable without scripts.</summary>
internal static class PageEndpoints
{
    public static void AddPages(this IServiceCollection services)
    {
        services.AddRazorComponents();
        services.AddForms();
        services.AddReview();
        services.AddSingleton<FollowedCaseloads>();
        services.AddScoped<CaseloadBook>();
        services.AddScoped<PersonReads>();
        services.AddScoped<SheetReads>();
        services.AddScoped<DeskReads>();
        services.AddScoped<LibraryPageReads>();
        services.AddScoped<HomeReads>();
        services.AddSingleton<HomeGuard>();
        services.AddScoped<TakeReport>();
        services.AddScoped<LeavingReads>();
        services.AddScoped<ConflictReads>();
    }

    public static void MapPages(this IEndpointRouteBuilder app)
    {
        var pages = app.MapGroup("").ExcludeFromDescription();
        pages.MapPageAssets();
        pages.MapGet("/", static () => Results.Redirect("/caseload"));
        pages.MapCaseload();
        pages.MapPersonPage();
        pages.MapSheets();
        pages.MapDesk();
        pages.MapLibraryPages();
        pages.MapHome();
        pages.MapHomeLinkPages();
        pages.MapReview();
        pages.MapLeaving();
        pages.MapReceived();
        pages.MapConflicts();
        pages.MapTaskPage();
        pages.MapYou();
        pages.MapGet("/help", static () => new Microsoft.AspNetCore.Http.HttpResults.RazorComponentResult<HelpPage>());
    }
}
