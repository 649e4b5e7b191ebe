using Hl7.Fhir.Model;
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

    internal static ProgrammeAnswer Of(CarePlan programme, IEnumerable<ServiceRequest> requests, IEnumerable<Goal> goals) => new()
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
        Exercises = [.. requests.Where(r => r.Status is RequestStatus.Active or RequestStatus.Completed).Select(Prescribed.ToAnswer)],
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
        programmes.MapGet("{id}", GetAsync).Refuses().WithSummary("Read a programme").WithDescription("The programme with its exercises and goals.");
    }

    private static async Task<IReadOnlyList<ProgrammeLine>> ListAsync(string person, RecordStore store, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(Rules.Bare(person, "Patient"), "person", ct);
        var found = await store.FindAllAsync<CarePlan>($"subject=Patient/{patient.Id}", ct);
        return [.. found.Select(p => new ProgrammeLine(p.Id!, p.Title, p.StatusElement?.JsonValue as string, p.Period?.Start, p.Period?.End))];
    }

    private static async Task<ProgrammeAnswer> GetAsync(string id, RecordStore store, CancellationToken ct)
    {
        var (programme, _) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        var requests = await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{id}", ct);
        return ProgrammeAnswer.Of(programme, InOrderOfPlan(programme, requests), await GoalsAsync(programme, store, ct));
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
