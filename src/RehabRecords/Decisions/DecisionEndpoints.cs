using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.Decisions;

public static class DecisionEndpoints
{
    public static void MapDecisions(this IEndpointRouteBuilder routes)
    {
        var decisions = routes.MapGroup("/api/programmes/{id}/decisions").WithTags("Decisions");
        decisions.MapPost("", (string id, Posted<DecisionRequest> posted, Decide decide, CancellationToken ct) => decide.RunAsync(id, posted, ct))
            .Answers<DecisionAnswer>(StatusCodes.Status201Created).Refuses().WithExample("decision")
            .WithSummary("Decide on a suggestion")
            .WithDescription("A clinician confirms or overrides what is suggested for an exercise. The suggestion as it stood is kept with the decision: rule, version of the rule set, inputs and evidence. "
                + "An advance or a step back is one step in one dimension; it ends the prescription the day before and puts a new one in its place, and results under the old one stay. "
                + "An advance is refused while an open red flag freezes progression, and at a level without a session. A reason is needed to depart from the suggestion, and always to stop. "
                + "Of two decisions about one exercise at the same moment one is refused (409). The open draft note is redone.");
        decisions.MapGet("", ListAsync).Refuses().WithSummary("List the decisions of a programme")
            .WithDescription("In the order in which they were made, revisions of the programme among them.");
    }

    private static async Task<IReadOnlyList<DecisionAnswer>> ListAsync(string id, RecordStore store, CancellationToken ct)
    {
        await store.RoutedAsync<CarePlan>(id, "programme", ct);
        var tasks = await store.FindAllAsync<Hl7.Fhir.Model.Task>($"based-on=CarePlan/{id}", ct);
        return [.. tasks.Where(DecisionMapping.IsDecision).Select(DecisionAnswer.Of).OrderBy(d => d.At, StringComparer.Ordinal).ThenBy(d => d.Id, StringComparer.Ordinal)];
    }
}
