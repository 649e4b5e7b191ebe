using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Progress;

/// <summary>What was computed of each programme of a person.</summary>
public sealed record ProgressView(string Person, string Name, IReadOnlyList<FindingsView> Programmes);

public static class ProgressEndpoints
{
    public static void MapProgress(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/api/people/{id}/progress", GetAsync).WithTags("People").WithSummary("A person's progress")
            .WithDescription("Adherence with both bounds, of the programme and of each exercise, dose by exercise and week, trends, changes of measures with the threshold row and why it was chosen, "
                + "norms (those from memory marked as such), goals with their T-score, open flags and a suggestion for each exercise, for each programme of the person, earliest first. Computed from the record as of the latest result.")
            .Produces<ProgressView>().ProducesProblem(404);
        routes.MapGet("/api/rules", static (ClinicRules rules) => RulesView.Of(rules)).WithTags("Rules").WithSummary("The rules in force")
            .WithDescription("The limits of the progression rules with the range a clinic may set each to, the definition of adherence, red flags with their urgency and "
                + "text, cautions and temperature limits; each with its source and how far that was confirmed. Every suggestion names the version shown here.");
    }

    private static async Task<ProgressView> GetAsync(string id, RecordStore store, ProgressReader reader, ClinicRules rules, CancellationToken ct)
    {
        if (await store.GetAsync<Patient>(id, ct) is null)
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no person '{id}'. Use the id that POST /api/people answered.", "id");
        var programmes = new List<FindingsView>();
        var name = "";
        foreach (var programme in await reader.ProgrammesOfAsync(id, ct))
        {
            var record = await reader.ReadAsync(programme, ct);
            name = record.Person.Name;
            programmes.Add(FindingsView.Of(record, Findings.Of(record, MeasureCatalogue.Default, rules)).ByExercise(record, rules.Adherence));
        }
        return new ProgressView(id, name, programmes);
    }
}
