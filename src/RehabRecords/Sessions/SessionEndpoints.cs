using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Sessions;

/// <summary>A session as it is recorded.</summary>
public sealed record SessionView
{
    public required string Id { get; init; }

    public required string Session { get; init; }

    public BusinessId? Identifier { get; init; }

    public string? Person { get; init; }

    public string? Programme { get; init; }

    /// <summary>completed or not-done.</summary>
    public string? Status { get; init; }

    /// <summary>When it was done, or the day it was planned for.</summary>
    public string? At { get; init; }

    public string? Reason { get; init; }

    public ReporterRequest? ReportedBy { get; init; }

    public DateTimeOffset? RecordedAt { get; init; }

    public IReadOnlyList<string> Remarks { get; init; } = [];

    public IReadOnlyList<ResultRequest> Exercises { get; init; } = [];

    public IReadOnlyList<HarmRequest> AdverseEvents { get; init; } = [];

    internal static SessionView Of(Procedure procedure, IEnumerable<Observation> results, IEnumerable<AdverseEvent> harms) => new()
    {
        Id = procedure.Id!,
        Session = $"Procedure/{procedure.Id}",
        Identifier = BusinessId.From(procedure.Identifier.FirstOrDefault()),
        Person = procedure.Subject?.Reference,
        Programme = procedure.BasedOn.FirstOrDefault()?.Reference,
        Status = procedure.StatusElement?.JsonValue as string,
        At = (procedure.Performed as FhirDateTime)?.Value ?? (procedure.Performed as Period)?.Start,
        Reason = procedure.StatusReason.CodeIn(Systems.NotDoneReason),
        ReportedBy = Reporting.From(procedure.Asserter),
        RecordedAt = procedure.GetExtensionValue<Instant>(Extensions.RecordedAt)?.Value,
        Remarks = [.. procedure.Note.Select(n => n.Text).OfType<string>()],
        Exercises = [.. results.Select(o => ResultComponents.From(o, o.Code.CodeIn(Systems.Exercise) ?? o.Code?.Text ?? ""))],
        AdverseEvents = [.. harms.Select(h => new HarmRequest
        {
            Kind = h.Event.CodeIn(Systems.AdverseEventKind),
            Severity = h.Severity.CodeIn(Systems.AdverseEventSeverity),
            Description = h.Event?.Text,
        })],
    };
}

public sealed record SessionLine(string Id, string? Status, string? At, string? Reason);

public static class SessionEndpoints
{
    public static void MapSessions(this IEndpointRouteBuilder routes)
    {
        var sessions = routes.MapGroup("/api/sessions").WithTags("Sessions");
        sessions.MapPost("", (Posted<SessionRequest> posted, RecordSession record, CancellationToken ct) => record.RunAsync(posted, ct))
            .Answers<SessionAnswer>(StatusCodes.Status201Created).WithExample("session")
            .WithSummary("Report a practice session")
            .WithDescription("One practice occasion, done or missed, with what was done of each exercise; or an adverse event or red flag by itself. Stores it, computes adherence, dose, change, "
                + "flags and a suggestion per exercise from the whole record, and answers them with the draft progress note. If `urgent` is not null, act on it before reading on. "
                + "A red flag freezes progression until a clinician clears it. Pain and fatigue are 0 to 10, minutes are minutes; exertion names its scale. "
                + "Late and out-of-order sessions are placed by when they were done. Posting again with the same Idempotency-Key or the same `identifier`, or the same done session word for word, "
                + "answers the first result and stores nothing. An occasion of which every exercise was skipped, or on which only an event is reported, is recorded as not done.");
        sessions.MapGet("", ListAsync).WithSummary("List a programme's sessions").WithDescription("By when they were done or planned for. `programme` is the programme's id.");
        sessions.MapGet("{id}", GetAsync).Refuses().WithSummary("Read a session").WithDescription("The session as it was reported, with its results and harm. What was computed is at /api/people/{id}/progress.");
    }

    private static async Task<IReadOnlyList<SessionLine>> ListAsync(string programme, RecordStore store, CancellationToken ct)
    {
        var (plan, _) = await store.RoutedAsync<CarePlan>(Rules.Bare(programme, "CarePlan"), "programme", ct);
        var found = await store.FindAllAsync<Procedure>($"based-on=CarePlan/{plan.Id}", ct);
        return [.. found.Select(p => SessionView.Of(p, [], [])).OrderBy(s => s.At, StringComparer.Ordinal).Select(s => new SessionLine(s.Id, s.Status, s.At, s.Reason))];
    }

    private static async Task<SessionView> GetAsync(string id, RecordStore store, CancellationToken ct)
    {
        var (procedure, _) = await store.RoutedAsync<Procedure>(id, "session", ct);
        var results = await store.FindAllAsync<Observation>($"part-of=Procedure/{id}", ct);
        var harms = await store.FindAllAsync<AdverseEvent>($"{(procedure.Subject is { } s ? $"subject={s.Reference}" : "")}", ct);
        return SessionView.Of(procedure, results, harms.Where(h => h.SuspectEntity.Exists(e => e.Instance?.Reference == $"Procedure/{id}")));
    }
}
