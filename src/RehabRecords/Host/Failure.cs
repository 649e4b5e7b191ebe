using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;

namespace RehabRecords.Host;

/// <summary>What a request that failed is answered with, before it is put into the words of one face or the other.</summary>
internal sealed record Failure(int Status, IReadOnlyList<Issue> Issues)
{
    private static readonly Dictionary<Refusal, int> Statuses = new()
    {
        [Refusal.Malformed] = 400,
        [Refusal.Invalid] = 422,
        [Refusal.TooLarge] = 413,
        [Refusal.NotFound] = 404,
        [Refusal.Gone] = 410,
        [Refusal.NotAllowed] = 405,
        [Refusal.Conflict] = 409,
        [Refusal.StaleVersion] = 412,
        [Refusal.Ambiguous] = 412,
        [Refusal.KeyReused] = 422,
        [Refusal.Unavailable] = 503,
        [Refusal.Damaged] = 500,
        [Refusal.TooMany] = 429,
        [Refusal.VersionNotNamed] = 428,
        [Refusal.UnknownFormat] = 415,
        [Refusal.FormatNotOffered] = 406,
        [Refusal.NotPermitted] = 403,
    };

    public static int StatusOf(Refusal refusal) => Statuses[refusal];

    public static Failure Of(Exception exception, HttpContext context) => exception switch
    {
        RefusedException refused => new(StatusOf(refused.Refusal), refused.Issues),
        BadHttpRequestException { InnerException: JsonException json } => new(400, [RequestBody.Problem(json)]),
        JsonException json => new(400, [RequestBody.Problem(json)]),
        BadHttpRequestException { StatusCode: 400 } bad when RequestBody.Problem(bad) is { } problem => new(400, [problem]),
        BadHttpRequestException bad => OfStatus(bad.StatusCode, context),
        _ => OfStatus(500, context),
    };

    /// <summary>For a status the framework chose by itself, which says nothing more.</summary>
    public static Failure OfStatus(int status, HttpContext context) => new(status, [status switch
    {
        400 => Issue.Error(OperationOutcome.IssueType.Structure, "The request could not be read: its path, query, headers or body are not well formed. " + Documented),
        401 => Issue.Error(OperationOutcome.IssueType.Login, "Sign in first."),
        403 => Issue.Error(OperationOutcome.IssueType.Forbidden, "The signed-in person may not do this."),
        404 => Issue.Error(OperationOutcome.IssueType.NotFound, $"There is nothing at {context.Request.Path}. " + Documented),
        405 => Issue.Error(OperationOutcome.IssueType.NotSupported, $"{context.Request.Method} is not offered at {context.Request.Path}. {Offered(context)}"),
        408 => Issue.Error(OperationOutcome.IssueType.Timeout, "The request arrived too slowly; send it again."),
        413 => Issue.Error(OperationOutcome.IssueType.TooLong, $"The body is over the limit of {Limit(context)} bytes. Send less at once."),
        415 => Issue.Error(OperationOutcome.IssueType.NotSupported, $"Bodies of type '{context.Request.ContentType}' are not read here. Send application/json in UTF-8."),
        429 => Issue.Error(OperationOutcome.IssueType.Throttled, "Too many requests at once; try again shortly."),
        431 => Issue.Error(OperationOutcome.IssueType.TooLong, "The headers of the request are too long."),
        503 => Issue.Error(OperationOutcome.IssueType.Transient, "The service is not ready; try again shortly."),
        >= 500 => Issue.Error(OperationOutcome.IssueType.Exception, $"The service failed at this request, and whether anything of it was stored is not certain: it may have failed at the answer. Look before you send it again; under the same Idempotency-Key, or with If-None-Exist, nothing is stored twice. Quote request id {context.TraceIdentifier} when you report it."),
        _ => Issue.Error(OperationOutcome.IssueType.Processing, $"The request was refused with status {status}. " + Documented),
    }]);

    private const string Documented = "What is offered: /docs for /api, /fhir/metadata for /fhir.";

    private static string Offered(HttpContext context) =>
        context.Response.Headers.Allow.Count > 0 ? $"Offered: {context.Response.Headers.Allow}." : Documented;

    private static string Limit(HttpContext context) =>
        context.Features.Get<Microsoft.AspNetCore.Http.Features.IHttpMaxRequestBodySizeFeature>()?.MaxRequestBodySize?.ToString() ?? "this address";
}
