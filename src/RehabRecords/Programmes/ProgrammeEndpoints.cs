using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

public sealed record ProgrammeAnswer
{
    public required string Id { get; init; }

    public required string Programme { get; init; }

    public string? Person { get; init; }

    public string? Title { get; init; }

    public string? Status { get; init; }

    public string? Template { get; init; }

    public int? Level { get; init; }

    public string? LevelReason { get; init; }

    /// <summary>What the record proposed when the programme was made; null when nothing was.</summary>
    public LevelProposalAnswer? LevelProposal { get; init; }

    public string? Start { get; init; }

    public string? End { get; init; }

    public string? TimeZone { get; init; }

    public int? PainLimit { get; init; }

    public string? Author { get; init; }

    /// <summary>What the reporting standards ask for besides; null when the programme says none of it.</summary>
    public ReportingRequest? Reporting { get; init; }

    /// <summary>Stands beside every caution: local policy and the registered clinician come first.</summary>
    public string CautionsNote { get; init; } = Clinical.Cautions.Closing;

    /// <summary>Limits of temperature, each with its source; only where an exercise uses warm water.</summary>
    public IReadOnlyList<TemperatureAnswer> Temperatures { get; init; } = [];

    /// <summary>What is prescribed now, or from a day to come; after a discharge, what was prescribed last.</summary>
    public IReadOnlyList<PrescriptionAnswer> Exercises { get; init; } = [];

    /// <summary>What was replaced or stopped, with its last day; results under it stay.</summary>
    public IReadOnlyList<PrescriptionAnswer> Earlier { get; init; } = [];

    public IReadOnlyList<PauseView> Pauses { get; init; } = [];

    public IReadOnlyList<GoalAnswer> Goals { get; init; } = [];

    internal static ProgrammeAnswer Of(CarePlan programme, IReadOnlyCollection<ServiceRequest> requests, IEnumerable<Goal> goals) => new()
    {
        Id = programme.Id!,
        Programme = $"CarePlan/{programme.Id}",
        Person = programme.Subject?.Reference,
        Title = programme.Title,
        Status = programme.StatusElement?.JsonValue as string,
        Template = programme.InstantiatesCanonical.FirstOrDefault() is { } canonical ? LibraryReads.AddressOf(canonical) : null,
        Level = programme.GetExtensionValue<PositiveInt>(Extensions.Level)?.Value,
        LevelReason = programme.GetExtensionValue<FhirString>(Extensions.LevelReason)?.Value,
        LevelProposal = Programmes.LevelProposal.From(programme),
        Start = programme.Period?.Start,
        End = programme.Period?.End,
        TimeZone = programme.GetExtensionValue<Code>(Extensions.TimeZone)?.Value,
        PainLimit = programme.GetExtensionValue<Integer>(Extensions.PainLimit)?.Value,
        Author = programme.Author?.Display,
        Reporting = ReportingRequest.From(programme),
        Temperatures = TemperatureAnswer.For(requests),
        Exercises = [.. requests.Where(r => r.Status is RequestStatus.Active or RequestStatus.Draft or RequestStatus.Completed).Select(Prescribed.ToAnswer)],
        Earlier = [.. requests.Where(r => r.Status == RequestStatus.Revoked).Select(Prescribed.ToAnswer)],
        Pauses = [.. PauseMapping.Of(programme).Select(PauseView.Of)],
        Goals = [.. goals.Select(g => g.ToAnswer())],
    };
}

public sealed record ProgrammeLine(string Id, string? Title, string? Status, string? Start, string? End);

public static class ProgrammeEndpoints
{
    public static void MapProgrammes(this IEndpointRouteBuilder routes)
    {
        var programmes = routes.MapGroup("/api/programmes").WithTags("Programmes");
        programmes.MapPost("", (Posted<ProgrammeRequest> posted, PrescribeProgramme prescribe, CancellationToken ct) => prescribe.RunAsync(posted, ct))
            .Answers<ProgrammeAnswer>(StatusCodes.Status201Created).WithExample("programme")
            .WithSummary("Prescribe a home programme")
            .WithDescription("From a template and level, tailored exercise by exercise; or from exercises alone. Stores one CarePlan, one ServiceRequest per exercise and one Goal per goal, "
                + "all or nothing, pinned to the versions of template and exercises. What an exercise leaves out is taken from the template's level, then from the library. "
                + "Holds and rests are in seconds; days and times are of the programme's zone; the pain limit is 0 to 10.");
        programmes.MapGet("", ListAsync).WithSummary("List a person's programmes").WithDescription("Oldest first. `person` is the person's id.");
        programmes.MapGet("{id}", GetAsync).Refuses().WithSummary("Read a programme").WithDescription("The programme with its exercises and goals. ETag is the version that PUT asks for.");
        programmes.MapPut("{id}", (string id, HttpContext http, Posted<ProgrammeRequest> posted, RewriteDraft rewrite, CancellationToken ct) =>
                rewrite.RunAsync(http, id, http.Request.Headers.IfMatch.ToString(), posted, ct))
            .Answers<ProgrammeAnswer>(StatusCodes.Status200OK).Refuses().WithExample("programme")
            .ProducesProblem(StatusCodes.Status412PreconditionFailed).ProducesProblem(StatusCodes.Status428PreconditionRequired)
            .WithSummary("Write a draft programme anew")
            .WithDescription("For drafts only; what is in force is changed by decisions, revisions and pauses (409). The body is the whole programme, as for POST, all or nothing: exercises and goals that it leaves out are no longer part of the draft. "
                + "If-Match names the version it was made from, the ETag of GET (428 without, 412 when somebody else has changed it since). When `author` is left out, the one recorded stays; a briefing that is required stays required.");
    }

    private static async Task<IReadOnlyList<ProgrammeLine>> ListAsync(string person, RecordStore store, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(Rules.Bare(person, "Patient"), "person", ct);
        var found = await store.FindAllAsync<CarePlan>($"subject=Patient/{patient.Id}", ct);
        return [.. found.Select(p => new ProgrammeLine(p.Id!, p.Title, p.StatusElement?.JsonValue as string, p.Period?.Start, p.Period?.End))];
    }

    private static async Task<ProgrammeAnswer> GetAsync(string id, HttpContext http, RecordStore store, CancellationToken ct)
    {
        var (programme, version) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        http.Response.Headers.ETag = VersionTag.Of(version);
        return await ReadAsync(programme, store, ct);
    }

    internal static async Task<ProgrammeAnswer> ReadAsync(CarePlan programme, RecordStore store, CancellationToken ct)
    {
        // What a draft no longer has, or what a revision took back before its day, has never been prescribed.
        var requests = (await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{programme.Id}", ct)).Where(r => r.Status != RequestStatus.EnteredInError);
        return ProgrammeAnswer.Of(programme, [.. InOrderOfPlan(programme, requests)], await GoalsAsync(programme, store, ct));
    }

    internal static async Task<List<Goal>> GoalsAsync(CarePlan programme, RecordStore store, CancellationToken ct)
    {
        var goals = new List<Goal>();
        foreach (var reference in programme.Goal)
            if (await store.GetAsync<Goal>(Rules.Bare(reference.Reference ?? "", "Goal"), ct) is { } goal)
                goals.Add(goal.Resource);
        return goals;
    }

    /// <summary>As the therapist listed them, not as they happen to be found.</summary>
    internal static IEnumerable<ServiceRequest> InOrderOfPlan(CarePlan programme, IEnumerable<ServiceRequest> requests) =>
        requests.OrderBy(r => programme.Activity.FindIndex(a => a.Reference?.Reference == $"ServiceRequest/{r.Id}"));
}
