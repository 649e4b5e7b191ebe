using System.Globalization;
using System.Text.Json;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.Net.Http.Headers;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Rest.Operations;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Rest.Bulk;

/// <summary>Bulk export as HL7's Bulk Data Access says: a request, an address to ask how far it is, a manifest, files.</summary>
internal static class BulkEndpoints
{
    private const string Place = "/fhir/bulk/{job}";
    private const string Ndjson = "application/fhir+ndjson";
    private const string About = "Needs Prefer: respond-async. _since, _type and _outputFormat are taken; no type filters, no elements. What the manifest names is kept for a day and can be deleted before.";

    public static IReadOnlyList<Operation> Operations { get; } =
    [
        new("export", $"{Canonical.Base}/OperationDefinition/export", Level.System, call => BeginAsync(call, ofPeople: false)) { Methods = ["GET", "POST"], Documentation = About },
        new("export", $"{Canonical.Base}/OperationDefinition/patient-export", Level.Type, call => BeginAsync(call, ofPeople: true)) { Methods = ["GET", "POST"], Types = ["Patient"], Documentation = About },
    ];

    public static void AddBulk(this IServiceCollection services)
    {
        services.AddSingleton<BulkJobs>();
        services.AddHostedService(s => s.GetRequiredService<BulkJobs>());
        foreach (var operation in Operations)
            services.AddOperation(operation);
    }

    public static void MapBulk(this IEndpointRouteBuilder app)
    {
        app.MapGet(Place, StatusAsync).ExcludeFromDescription();
        app.MapDelete(Place, (string job, BulkJobs jobs, Calling calling) =>
        {
            jobs.Delete(jobs.Find(job, calling.Caller));
            return TypedResults.StatusCode(StatusCodes.Status202Accepted);
        }).ExcludeFromDescription();
        app.MapGet(Place + "/{file}", File).ExcludeFromDescription();
    }

    private static async Task<IResult> BeginAsync(Call call, bool ofPeople)
    {
        var job = await call.Need<BulkJobs>().BeginAsync(await BulkRequest.ReadAsync(call, ofPeople), call.Need<Calling>().Caller, call.Http.RequestAborted);
        call.Http.Response.Headers.ContentLocation = AddressOf(call.Settings.FhirBase, job);
        return new OutcomeResult(StatusCodes.Status202Accepted,
            [new Issue(OperationOutcome.IssueSeverity.Information, OperationOutcome.IssueType.Informational, "The export was taken on. Content-Location tells where to ask how far it is.")]);
    }

    private static async Task StatusAsync(string job, BulkJobs jobs, Calling calling, Host.Settings settings, TimeProvider clock, HttpContext http)
    {
        var found = jobs.Find(job, calling.Caller);
        if (!found.IsOver && !found.MayPoll(clock))
            throw new RefusedException(Refusal.TooMany, OperationOutcome.IssueType.Throttled, "You asked a moment ago. Wait as long as Retry-After says.");
        if (found.Failure is { } failure)
        {
            await OutcomeResult.WriteAsync(http, StatusCodes.Status500InternalServerError, [Issue.Error(OperationOutcome.IssueType.Exception, failure)]);
            return;
        }

        if (found.Result is not { } result)
        {
            http.Response.StatusCode = StatusCodes.Status202Accepted;
            http.Response.Headers["X-Progress"] = found.Progress;
            http.Response.Headers.RetryAfter = "1";
            return;
        }

        http.Response.ContentType = "application/json; charset=utf-8";
        http.Response.Headers.Expires = HeaderUtilities.FormatDate(jobs.ExpiryOf(found));
        http.Response.Headers.CacheControl = "no-store";
        await http.Response.Body.WriteAsync(Manifest(AddressOf(settings.FhirBase, found), found.Request, result, !settings.Access.IsDemo), http.RequestAborted);
    }

    private static PhysicalFileHttpResult File(string job, string file, BulkJobs jobs, Calling calling, HttpContext http)
    {
        var found = jobs.Find(job, calling.Caller);
        // Only names that the manifest gives are looked for on the disk.
        if (found.Result is not { } result || !result.Output.Concat(result.Deleted).Any(f => f.File == file))
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"The export has no file '{file}'. Its manifest names those it has.");
        http.Response.Headers.Expires = HeaderUtilities.FormatDate(jobs.ExpiryOf(found));
        http.Response.Headers.CacheControl = "no-store";
        return TypedResults.PhysicalFile(Path.GetFullPath(Path.Combine(found.Folder, file)), Ndjson, enableRangeProcessing: true);
    }

    private static byte[] Manifest(string address, BulkRequest request, BulkResult result, bool needsToken) => JsonSerializer.SerializeToUtf8Bytes(new Dictionary<string, object>
    {
        ["transactionTime"] = result.TransactionTime.UtcDateTime.ToString("yyyy-MM-dd'T'HH:mm:ss.fff'Z'", CultureInfo.InvariantCulture),
        ["request"] = request.Address,
        ["requiresAccessToken"] = needsToken,
        ["output"] = Files(address, result.Output),
        ["deleted"] = Files(address, result.Deleted),
        ["error"] = Array.Empty<object>(),
    });

    private static List<Dictionary<string, object>> Files(string address, IReadOnlyList<BulkFile> files) =>
        [.. files.Select(f => new Dictionary<string, object> { ["type"] = f.Type, ["url"] = $"{address}/{f.File}", ["count"] = f.Count })];

    private static string AddressOf(string fhirBase, BulkJob job) => $"{fhirBase}/bulk/{job.Id}";
}
