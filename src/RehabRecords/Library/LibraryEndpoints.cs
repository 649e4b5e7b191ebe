using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Library;

public static class LibraryEndpoints
{
    public static void MapLibrary(this IEndpointRouteBuilder routes)
    {
        var exercises = routes.MapGroup("/api/exercises").WithTags("Library");
        exercises.MapPost("", PostExerciseAsync).Answers<ExerciseAnswer>(StatusCodes.Status201Created).WithExample("exercise")
            .WithSummary("Add an exercise to the library")
            .WithDescription("Stores one version of an exercise as an ActivityDefinition. Holds and rests are in seconds, minutes in minutes, both per occasion. "
                + "A version that exists is not changed (409); send a new version instead.");
        exercises.MapGet("", ListExercisesAsync).WithSummary("List the exercises").WithDescription("Every version of every exercise, oldest first.");
        exercises.MapGet("{id}", GetExerciseAsync).Refuses().WithSummary("Read an exercise").WithDescription("By id or by `code|version` (the bar written %7C).");

        var templates = routes.MapGroup("/api/templates").WithTags("Library");
        templates.MapPost("", PostTemplateAsync).Answers<TemplateAnswer>(StatusCodes.Status201Created).WithExample("template")
            .WithSummary("Add a graded programme template")
            .WithDescription("Stores one version of a template as a PlanDefinition: a choice of exactly one level, with the exercises of each level pinned to their version.");
        templates.MapGet("", ListTemplatesAsync).WithSummary("List the templates").WithDescription("Every version of every template, oldest first.");
        templates.MapGet("{id}", GetTemplateAsync).Refuses().WithSummary("Read a template").WithDescription("By id or by `code|version` (the bar written %7C).");
    }

    private static Task<IResult> PostExerciseAsync(Posted<ExerciseRequest> posted, Recording recording, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, (set, _) =>
        {
            var definition = set.Create(posted.Body.ToDefinition());
            return Task.FromResult(new Recorded<ExerciseAnswer>(StatusCodes.Status201Created, $"/api/exercises/{definition.Id}", definition.ToAnswer()));
        }, ct);

    private static Task<IResult> PostTemplateAsync(Posted<TemplateRequest> posted, Recording recording, RecordStore store, CancellationToken ct) =>
        recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var exercises = new Dictionary<string, ActivityDefinition>();
            foreach (var (level, i) in posted.Body.Levels!.Select((l, i) => (l, i)))
                foreach (var (exercise, j) in level.Exercises!.Select((e, j) => (e, j)))
                    if (!exercises.ContainsKey(exercise.Exercise!))
                        exercises[exercise.Exercise!] = await store.ExerciseAsync($"levels[{i}].exercises[{j}].exercise", exercise.Exercise!, cancel);
            var definition = set.Create(posted.Body.ToDefinition(exercises));
            return new Recorded<TemplateAnswer>(StatusCodes.Status201Created, $"/api/templates/{definition.Id}", definition.ToAnswer());
        }, ct);

    private static async Task<IReadOnlyList<ExerciseAnswer>> ListExercisesAsync(RecordStore store, CancellationToken ct) =>
        [.. (await store.FindAllAsync<ActivityDefinition>("", ct)).Where(IsOurs).Select(d => d.ToAnswer())];

    private static async Task<IReadOnlyList<TemplateAnswer>> ListTemplatesAsync(RecordStore store, CancellationToken ct) =>
        [.. (await store.FindAllAsync<PlanDefinition>("", ct)).Where(IsOurs).Select(d => d.ToAnswer())];

    private static async Task<ExerciseAnswer> GetExerciseAsync(string id, RecordStore store, CancellationToken ct) =>
        (await FindAsync<ActivityDefinition>(id, "exercise", store, ct)).ToAnswer();

    private static async Task<TemplateAnswer> GetTemplateAsync(string id, RecordStore store, CancellationToken ct) =>
        (await FindAsync<PlanDefinition>(id, "template", store, ct)).ToAnswer();

    private static async Task<T> FindAsync<T>(string id, string kind, RecordStore store, CancellationToken ct)
        where T : DomainResource
    {
        var found = id.Contains('|', StringComparison.Ordinal)
            ? await store.ByAddressAsync<T>(kind, id, ct)
            : Rules.IsId(id) ? (await store.GetAsync<T>(id, ct))?.Resource : null;
        return found is not null && IsOurs(found)
            ? found
            : throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound,
                $"There is no {kind} '{Rules.Shown(id)}'; give its id, or its code and version as code|version.", "id");
    }

    /// <summary>Definitions put in through /fhir by others need not follow our profiles; they are not of this library.</summary>
    internal static bool IsOurs(DomainResource definition) => definition.Meta?.Profile.Any(p => p is Terms.Profiles.Exercise or Terms.Profiles.ProgrammeTemplate) == true;
}
