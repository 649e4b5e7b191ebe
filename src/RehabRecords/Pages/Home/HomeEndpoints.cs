using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using RehabRecords.Clinical;
using RehabRecords.HomeLinks;
using RehabRecords.Host;

namespace RehabRecords.Pages.Home;

/// <summary>
/// The recording page. The address is the key: there is no cookie and no sign-in, so another site has nothing to make a
/// browser use against the person, and the form needs no further token.
/// </summary>
internal static class HomeEndpoints
{
    private const int MostBytes = 64 * 1024;

    public static void MapHome(this IEndpointRouteBuilder routes)
    {
        var home = routes.MapGroup("/home").AddEndpointFilter(static (context, next) =>
        {
            context.HttpContext.Response.Headers["X-Robots-Tag"] = "noindex, nofollow";
            return next(context);
        });
        home.MapGet("{token}", PageAsync);
        home.MapPost("{token}", TakeAsync).WithMetadata(new RequestSizeLimitAttribute(MostBytes));
        home.MapGet("{token}/sent/{entry}", SentAsync);
        // Outside /assets, because a worker is in charge of nothing above its own address.
        routes.MapGet("/home-worker.js", static (HttpContext http) =>
        {
            http.Response.Headers.CacheControl = "no-cache";
            return PageAssets.Serve("home-worker.js");
        });
    }

    private static async Task<IResult> PageAsync(string token, HttpContext http, OpenHomeLink links, HomeReads reads, HomeGuard guard, Settings settings, CancellationToken ct) =>
        await links.Async(token, ct) is { } link
            ? new RazorComponentResult<RecordingPage>(new { Model = await reads.ViewAsync(link, ct) })
            : Neutral(http, guard, settings);

    private static async Task<IResult> TakeAsync(
        string token, HttpContext http, OpenHomeLink links, HomeReads reads, TakeReport take, HomeGuard guard, Settings settings, CancellationToken ct)
    {
        if (await links.Async(token, ct) is not { } link)
            return Neutral(http, guard, settings);
        if (!guard.Use(link.Task.Id!))
            return Results.StatusCode(StatusCodes.Status429TooManyRequests);
        var byScript = http.Request.Headers.Accept.ToString().Contains("application/json", StringComparison.OrdinalIgnoreCase);
        var form = (await FormBody.ReadAsync(http.Request, "Open the recording page again and send it from there.", ct)).ToDictionary(f => f.Key, f => f.Value, StringComparer.Ordinal);
        var taken = await take.RunAsync(link, form, byScript, ct);
        var status = taken.Faults.Count > 0 ? StatusCodes.Status422UnprocessableEntity : StatusCodes.Status200OK;
        if (byScript)
            return Results.Json(new
            {
                Sent = taken.Session is not null,
                taken.Faults,
                Urgent = taken.Urgent.Select(f => new { f.Code, f.Title, f.Text, Emergency = f.Urgency == Urgency.Emergency }),
            }, statusCode: status);
        if (taken.Faults.Count == 0)
            return new SeeOther($"/home/{token}/sent/{form["entry"]}");
        // Under a new identifier: what was taken in keeps the old one. Warning signs that were taken in are not sent twice.
        var view = await reads.ViewAsync(link, ct) with { Filled = form, Faults = taken.Faults, Urgent = taken.Urgent };
        if (taken.Session is not null)
            form.Remove("flag");
        return new RazorComponentResult<RecordingPage>(new { Model = view }) { StatusCode = status };
    }

    private static async Task<IResult> SentAsync(string token, string entry, HttpContext http, OpenHomeLink links, HomeReads reads, HomeGuard guard, Settings settings, CancellationToken ct)
    {
        if (await links.Async(token, ct) is not { } link)
            return Neutral(http, guard, settings);
        if (!HomeEntry.IsEntry(entry) || await reads.SessionAsync(link, entry, ct) is not { } session)
            return new SeeOther($"/home/{token}");
        return new RazorComponentResult<SentPage>(new { Model = new HomeAnswer(settings.Clinic, $"/home/{token}", await reads.RaisedAsync(link, session, ct)) });
    }

    /// <summary>One and the same page, whether there never was such a link, its time is up, or it was revoked.</summary>
    private static IResult Neutral(HttpContext http, HomeGuard guard, Settings settings) => guard.Miss(http)
        ? new RazorComponentResult<NoLinkPage>(new { settings.Clinic }) { StatusCode = StatusCodes.Status404NotFound }
        : Results.StatusCode(StatusCodes.Status429TooManyRequests);

    /// <summary>Sends the browser on with GET, so that going back or reloading sends nothing twice.</summary>
    private sealed class SeeOther(string address) : IResult
    {
        public Task ExecuteAsync(HttpContext httpContext)
        {
            httpContext.Response.StatusCode = StatusCodes.Status303SeeOther;
            httpContext.Response.Headers.Location = address;
            return Task.CompletedTask;
        }
    }
}
