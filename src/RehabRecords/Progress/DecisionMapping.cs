using Hl7.Fhir.Model;
using RehabRecords.Terms;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Progress;

/// <summary>Task of the profile progression-decision as a decision.</summary>
internal static class DecisionMapping
{
    public static bool IsDecision(FhirTask task) =>
        task.Status == FhirTask.TaskStatus.Completed && task.Code.CodeIn(Systems.Decision) is not null && task.Focus.IdOf("ServiceRequest") is not null;

    public static Decision Of(FhirTask task, IReadOnlyDictionary<string, string> firstOf)
    {
        var focus = task.Focus.IdOf("ServiceRequest")!;
        return new Decision(
            task.Identity(), task.Evidence(), firstOf.GetValueOrDefault(focus, focus), task.Code.CodeIn(Systems.Decision)!,
            Addresses.Day(task.ExecutionPeriod?.Start) ?? Addresses.Day(task.AuthoredOn) ?? throw new FormatException($"{task.Evidence()} does not say from when it holds."),
            Addresses.Instant(task.AuthoredOn) ?? throw new FormatException($"{task.Evidence()} does not say when it was made."),
            task.Requester?.Display ?? "a clinician whose name is not recorded")
        {
            Group = task.GroupIdentifier?.Value,
            Reason = task.ReasonCode?.Text,
            Suggested = (task.Input(DecisionItem.Suggestion) as CodeableConcept).CodeIn(Systems.Suggestion),
            Rule = (task.Input(DecisionItem.Rule) as FhirString)?.Value,
            Dimension = (task.Input(DecisionItem.Dimension) as CodeableConcept).CodeIn(Systems.GradingDimension),
            Step = (task.Input(DecisionItem.Step) as FhirString)?.Value,
            Lock = (task.Input(DecisionItem.Lock) as FhirBoolean)?.Value,
            Change = task.Output.Count > 0 ? task.Description : null,
        };
    }

    public static DataType? Input(this FhirTask task, string item) => task.Inputs(item).FirstOrDefault();

    public static IEnumerable<DataType> Inputs(this FhirTask task, string item) =>
        task.Input.Where(i => i.Type.CodeIn(Systems.DecisionItem) == item).Select(i => i.Value).OfType<DataType>();

    public static string? Output(this FhirTask task, string item) =>
        (task.Output.FirstOrDefault(o => o.Type.CodeIn(Systems.DecisionItem) == item)?.Value as ResourceReference).IdOf("ServiceRequest");
}
