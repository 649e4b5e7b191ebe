using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Mvc;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Rest;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>Programmes handed over to other teams, and taken in from them.</summary>
public static class ExchangeEndpoints
{
    public static void MapExchange(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/api/programmes/{id}/exchange", GetAsync).WithTags("Exchange")
            .Produces(StatusCodes.Status200OK, contentType: Negotiation.Json, additionalContentTypes: Negotiation.Xml)
            .ProducesProblem(StatusCodes.Status400BadRequest).ProducesProblem(StatusCodes.Status403Forbidden)
            .ProducesProblem(StatusCodes.Status404NotFound).ProducesProblem(StatusCodes.Status422UnprocessableEntity)
            .WithSummary("Hand a programme over")
            .WithDescription("One FHIR document with all that another team needs to carry on: programme, prescriptions, library by version, goals, measures, precautions, briefing, team, consent, provenance and the "
                + "home sheet as text. `recipient` is the organisation it is for (id, or system|value of its identifier); without the person's consent it is refused (403) with the reason. "
                + "`results=false` leaves out sessions and results. Every disclosure and every refusal is audited. JSON, or XML by Accept.");

        var bundles = new RequestSizeLimitAttribute(((IEndpointRouteBuilder)routes).ServiceProvider.GetRequiredService<Settings>().Limits.BundleBytes);
        var exchange = routes.MapGroup("/api/exchange").WithTags("Exchange");
        exchange.MapPost("", TakeInAsync).WithMetadata(bundles)
            .Accepts<Bundle>(Negotiation.Json, Negotiation.Xml)
            .Produces<ImportAnswer>(StatusCodes.Status200OK, "application/json")
            .ProducesProblem(StatusCodes.Status400BadRequest).ProducesProblem(StatusCodes.Status409Conflict).ProducesProblem(StatusCodes.Status412PreconditionFailed)
            .ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType).ProducesProblem(StatusCodes.Status422UnprocessableEntity)
            .WithSummary("Take in what another team sent")
            .WithDescription("The body is a FHIR document or collection Bundle (JSON or XML), such as GET /api/programmes/{id}/exchange gives. All of it is checked before any of it is stored. People and things are recognised by "
                + "business identifiers, never by name; where that is not certain it is refused (412) with the candidates, and `person` (an id, or `new`) decides. Taken in twice, it changes nothing. "
                + "What was changed here and there is a conflict: nothing is written over, and a task asks a clinician to choose. `check=true` only says what would happen.");
        exchange.MapGet("conflicts", ListAsync).WithSummary("List conflicts of a person").WithDescription("What was changed here and by another team, open ones first. `person` is the person's id.");
        exchange.MapGet("conflicts/{id}", ConflictAsync).Refuses().WithSummary("Read a conflict").WithDescription("What differs, what waits for the decision, and what was decided. `state` goes back with the decision as `seen`, so that nobody decides on what has moved since.");
        exchange.MapPost("conflicts/{id}/resolution", ResolveAsync)
            .Produces<ImportAnswer>(StatusCodes.Status200OK, "application/json").ProducesProblem(StatusCodes.Status409Conflict).ProducesProblem(StatusCodes.Status422UnprocessableEntity)
            .Refuses().WithExample("resolution")
            .WithSummary("Decide a conflict")
            .WithDescription("`ours` keeps what is here, `theirs` takes in what was sent; for the whole of what is in conflict and waits. Neither loses anything: every version stays in the history, and the document as it came in is kept. "
                + "Sessions and results that waited are taken in with either choice.");
    }

    private static async Task<IResult> GetAsync(string id, string? recipient, bool? results, HttpContext http, HandOver handOver, CancellationToken ct)
    {
        var call = new Call(http, "Bundle");
        var bundle = await handOver.RunAsync(id, recipient, results ?? true, Caller(http), ct);
        return new WholeResult(call, bundle);
    }

    private static async Task<IResult> TakeInAsync(HttpContext http, string? person, bool? check, [FromServices] TakeIn takeIn, CancellationToken ct) =>
        Results.Json(await takeIn.RunAsync(await ArrivalAsync(http, ct), person, check ?? false, Caller(http), ct), TradeJson.Options);

    internal static async Task<Arrival> ArrivalAsync(HttpContext http, CancellationToken ct)
    {
        var format = Negotiation.Sent(http.Request);
        using var held = new MemoryStream();
        await http.Request.Body.CopyToAsync(held, ct);
        var bytes = held.ToArray();
        return ResourceReader.Read(bytes, format) is Bundle bundle
            ? new Arrival(bytes, format == FhirFormat.Xml ? Negotiation.Xml : Negotiation.Json, bundle)
            : throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid, "The body is no Bundle; send a FHIR document or collection.");
    }

    private static async Task<IReadOnlyList<ConflictAnswer>> ListAsync(string person, RecordStore store, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(Rules.Bare(person, "Patient"), "person", ct);
        return [.. (await ConflictTask.OfAsync(store, patient.Id!, ct)).OrderBy(t => t.Status == FhirTask.TaskStatus.Requested ? 0 : 1).ThenBy(t => t.AuthoredOn, StringComparer.Ordinal).Select(Answer)];
    }

    private static async Task<ConflictAnswer> ConflictAsync(string id, [FromServices] TakeIn takeIn, CancellationToken ct)
    {
        var conflict = await takeIn.LookAsync(id, ct);
        return Answer(conflict.Task) with { State = conflict.State };
    }

    private static async Task<IResult> ResolveAsync(string id, Posted<ResolutionRequest> posted, [FromServices] TakeIn takeIn, CancellationToken ct) =>
        Results.Json(await takeIn.DecideAsync(id, posted.Body, ct), TradeJson.Options);

    private static ConflictAnswer Answer(FhirTask task) => new(
        task.Id!, task.StatusElement?.JsonValue as string, task.For?.Reference, task.Focus?.Reference, task.Description, ConflictTask.Texts(task), ConflictTask.WaitingIn(task),
        $"Binary/{ConflictTask.OriginalOf(task)}", ConflictTask.ChoiceOf(task), task.Owner?.Display, string.Join('\n', Narratives.Lines(task)));

    internal static string Caller(HttpContext http) => http.Connection.RemoteIpAddress?.ToString() ?? "unknown";
}

/// <summary>A resource that was made for this answer and is stored nowhere.</summary>
internal sealed class WholeResult(Call call, Resource resource) : IResult
{
    public System.Threading.Tasks.Task ExecuteAsync(HttpContext httpContext)
    {
        httpContext.Response.StatusCode = StatusCodes.Status200OK;
        return call.Format.SendAsync(httpContext, call.Format.Write(resource));
    }
}
