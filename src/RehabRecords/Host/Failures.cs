using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using Microsoft.Net.Http.Headers;
using RehabRecords.Pages;
using RehabRecords.Rest;
using RehabRecords.Telemetry;

namespace RehabRecords.Host;

/// <summary>The one place where failures become answers: an OperationOutcome under /fhir, problem details (RFC 9457) elsewhere.</summary>
internal static partial class Failures
{
    // What a refusal says in a header: the current version, the methods there are, the patches that are read.
    private static readonly Dictionary<int, string> Kept = new()
    {
        [405] = HeaderNames.Allow,
        [410] = HeaderNames.ETag,
        [412] = HeaderNames.ETag,
        [415] = "Accept-Patch",
        [428] = HeaderNames.ETag,
    };

    private static readonly string[] KnownMethods = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"];

    public static IApplicationBuilder UseFailures(this WebApplication app) => app.Use(async (context, next) =>
    {
        try
        {
            await next(context);
            if (context.Response is { HasStarted: false, StatusCode: >= 400, ContentLength: null or 0, ContentType: null })
                await AnswerAsync(context, Failure.OfStatus(context.Response.StatusCode, context));
        }
        catch (OperationCanceledException) when (context.RequestAborted.IsCancellationRequested)
        {
            // The caller has gone; there is nobody to answer.
        }
        catch (Exception exception) when (context.Response.HasStarted)
        {
            // The server would write the exception to the log, words and all. What was begun is cut off, so that nobody takes it for whole.
            LogFailure(app.Logger, MethodOf(context), RouteOf(context), context.Response.StatusCode, context.TraceIdentifier, Fault.Of(exception));
            context.Abort();
        }
        catch (Exception exception)
        {
            var failure = Failure.Of(exception, context);
            // What the service says of itself (a part that is not set up, or is busy) is no fault of the program.
            if (exception is Fhir.RefusedException && failure.Status == StatusCodes.Status503ServiceUnavailable)
                LogUnavailable(app.Logger, MethodOf(context), RouteOf(context), exception.Message);
            else if (failure.Status >= 500)
                LogFailure(app.Logger, MethodOf(context), RouteOf(context), failure.Status, context.TraceIdentifier, Fault.Of(exception));
            var kept = Kept.GetValueOrDefault(failure.Status) is { } name ? (Name: name, Value: context.Response.Headers[name]) : default;
            context.Response.Clear();
            if (kept.Value.Count > 0)
                context.Response.Headers[kept.Name] = kept.Value;
            await AnswerAsync(context, failure);
        }
    });

    /// <summary>As it is written in the program: the address itself names people, or is a key, and a log is read by many.</summary>
    private static string RouteOf(HttpContext context) => (context.GetEndpoint() as RouteEndpoint)?.RoutePattern.RawText ?? "(no route)";

    private static string MethodOf(HttpContext context) => KnownMethods.Contains(context.Request.Method) ? context.Request.Method : "(another method)";

    private static async Task AnswerAsync(HttpContext context, Failure failure)
    {
        context.Response.StatusCode = failure.Status;
        if (failure.Status is 503 or 429)
            context.Response.Headers.RetryAfter = "5";
        if (context.Request.Path.StartsWithSegments("/fhir", StringComparison.Ordinal))
            await OutcomeResult.WriteAsync(context, failure.Status, failure.Issues);
        else if (IsPage(context.Request) && context.Request.Path.StartsWithSegments("/home", StringComparison.Ordinal))
            await new RazorComponentResult<Pages.Home.HomeFaultPage>(new { failure.Status, context.RequestServices.GetRequiredService<Settings>().Clinic })
            { StatusCode = failure.Status }.ExecuteAsync(context);
        else if (IsPage(context.Request))
            await new RazorComponentResult<FaultPage>(new
            {
                Title = Microsoft.AspNetCore.WebUtilities.ReasonPhrases.GetReasonPhrase(failure.Status),
                Messages = failure.Issues.Where(issue => issue.Refuses).Take(OutcomeResult.MostIssues).Select(issue => issue.Message).ToArray(),
                RequestId = context.TraceIdentifier,
            })
            { StatusCode = failure.Status }.ExecuteAsync(context);
        else
            await ProblemOf(context, failure).ExecuteAsync(context);
    }

    /// <summary>A person with a browser gets a page; programs of every other kind get problem details.</summary>
    private static bool IsPage(HttpRequest request) =>
        !request.Path.StartsWithSegments("/api", StringComparison.Ordinal) && request.Headers.Accept.ToString().Contains("text/html", StringComparison.OrdinalIgnoreCase);

    private static IResult ProblemOf(HttpContext context, Failure failure) => Results.Problem(new ProblemDetails
    {
        Status = failure.Status,
        Title = Microsoft.AspNetCore.WebUtilities.ReasonPhrases.GetReasonPhrase(failure.Status),
        Detail = failure.Issues[0].Message,
        Instance = context.Request.Path,
        Extensions =
        {
            ["errors"] = failure.Issues.Where(issue => issue.Refuses).Take(OutcomeResult.MostIssues)
                .Select(issue => new FieldError(issue.Expression, issue.Message)).ToArray(),
            ["requestId"] = context.TraceIdentifier,
        },
    });

    [LoggerMessage(Level = LogLevel.Information, Message = "{Method} {Route} answered 503: {Why}")]
    private static partial void LogUnavailable(ILogger log, string method, string route, string why);

    [LoggerMessage(Level = LogLevel.Error, Message = "{Method} {Route} answered {Status}; request {RequestId}: {Fault}")]
    private static partial void LogFailure(ILogger log, string method, string route, int status, string requestId, string fault);
}

/// <param name="Field">The field of the request, as a path; empty when the whole is meant.</param>
/// <param name="Message">What is wrong and what to do.</param>
internal sealed record FieldError(string Field, string Message);
