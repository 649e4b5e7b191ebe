using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.People;

public sealed record PersonAnswer
{
    public required string Id { get; init; }

    public required string Person { get; init; }

    public BusinessId? Identifier { get; init; }

    public string? FamilyName { get; init; }

    public IReadOnlyList<string> GivenNames { get; init; } = [];

    public string? BirthDate { get; init; }

    public string? Sex { get; init; }

    public string? DominantHand { get; init; }

    public string? AffectedSide { get; init; }

    public string? OnsetDate { get; init; }

    public CarerAnswer? Carer { get; init; }

    public IReadOnlyList<PrecautionAnswer> Precautions { get; init; } = [];

    /// <summary>The record into which this one was merged; use that one.</summary>
    public string? ReplacedBy { get; init; }

    /// <summary>Records that were merged into this one; they stay readable.</summary>
    public IReadOnlyList<string> Replaces { get; init; } = [];
}

public sealed record CarerAnswer(string Id, string? Name, string? Relationship, string? Phone);

public sealed record PrecautionAnswer(string Id, string? Code, string? Text, string? Since);

public sealed record PersonLine(string Id, string? FamilyName, IReadOnlyList<string> GivenNames, string? BirthDate, BusinessId? Identifier);

public static class PersonEndpoints
{
    public static void MapPeople(this IEndpointRouteBuilder routes)
    {
        var people = routes.MapGroup("/api/people").WithTags("People");
        people.MapPost("", PostAsync).Answers<PersonAnswer>(StatusCodes.Status201Created).WithExample("person")
            .WithSummary("Record a person")
            .WithDescription("Stores a Patient, the carer as a RelatedPerson and each precaution as a Flag, all or nothing. Dates are calendar days. "
                + "Affected side and day of onset decide which published thresholds fit later measures.");
        people.MapPost("{id}/precautions", (string id, Posted<NewPrecautionRequest> posted, RecordPrecaution record, CancellationToken ct) => record.AddAsync(id, posted, ct))
            .Answers<PrecautionOutcome>(StatusCodes.Status201Created).Refuses().WithExample("precaution").WithSummary("Record a precaution of a person")
            .WithDescription("For one that becomes known after the person was recorded. The open drafts of the person's programmes are redone and say which cautions apply now; "
                + "so does the answer. No prescription changes by it: revise the programme so that the person at home is told. One that is recorded already is refused (409).");
        people.MapPost("{id}/precautions/{precaution}/withdrawal", (string id, string precaution, Posted<WithdrawalRequest> posted, RecordPrecaution record, CancellationToken ct) => record.WithdrawAsync(id, precaution, posted, ct))
            .Answers<PrecautionOutcome>(StatusCodes.Status200OK).Refuses().WithExample("precaution-withdrawal").WithSummary("Withdraw a precaution")
            .WithDescription("It stays in the record with who withdrew it and why. The open drafts are redone.");
        people.MapGet("", ListAsync).WithSummary("List people")
            .WithDescription("People in the order they were recorded; `identifier` (system|value) finds one by the sender's own identifier, `name` by the beginning of a name.");
        people.MapGet("{id}", GetAsync).Refuses().WithSummary("Read a person").WithDescription("The person with carer and active precautions.");
    }

    private static Task<IResult> PostAsync(Posted<PersonRequest> posted, Recording recording, TimeProvider clock, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, (set, _) =>
        {
            var request = posted.Body;
            var patient = set.Create(request.ToPatient());
            var carer = request.Carer is { } c ? set.Create(c.ToCarer(patient.Id!)) : null;
            var today = DateOnly.FromDateTime(clock.GetUtcNow().UtcDateTime);
            var precautions = (request.Precautions ?? []).Select(p => set.Create(p.ToFlag(patient.Id!, today))).ToList();
            return Task.FromResult(new Recorded<PersonAnswer>(
                StatusCodes.Status201Created, $"/api/people/{patient.Id}", PersonMapping.ToAnswer(patient, carer, precautions)));
        }, ct);

    private static async Task<IReadOnlyList<PersonLine>> ListAsync(RecordStore store, string? identifier, string? name, CancellationToken ct)
    {
        var query = new List<string>();
        if (identifier is not null)
            query.Add("identifier=" + Uri.EscapeDataString(identifier));
        if (name is not null)
            query.Add("name=" + Uri.EscapeDataString(name));
        var found = await store.FindAllAsync<Patient>(string.Join('&', query), ct);
        return [.. found.Where(p => Replaced.By(p) is null).Select(p => new PersonLine(
            p.Id!, p.Name.FirstOrDefault()?.Family, PersonMapping.GivenNames(p.Name.FirstOrDefault()), p.BirthDate, BusinessId.From(p.Identifier.FirstOrDefault())))];
    }

    /// <summary>A person with carer and precautions in force, for /api and for their page.</summary>
    /// <exception cref="Fhir.RefusedException">There is no such person.</exception>
    internal static async Task<PersonAnswer> GetAsync(string id, RecordStore store, CancellationToken ct)
    {
        var (patient, _) = await store.RoutedAsync<Patient>(id, "person", ct);
        var flags = await store.FindAllAsync<Flag>($"subject=Patient/{id}", ct);
        return PersonMapping.ToAnswer(patient, await store.CarerOfAsync(id, ct), flags.Where(f => f.Status == Flag.FlagStatus.Active && PrecautionMapping.IsPrecaution(f)));
    }
}
