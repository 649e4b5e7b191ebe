using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Progress;
using RehabRecords.Terms;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Decisions;

/// <summary>A decision with the suggestion as it stood when it was made.</summary>
public sealed record DecisionAnswer
{
    public required string Id { get; init; }

    /// <summary>Its address under /fhir.</summary>
    public required string Task { get; init; }

    /// <summary>Id of the prescription that was decided on.</summary>
    public string? Exercise { get; init; }

    public string? Title { get; init; }

    /// <summary>advance, hold, step-back or stop; in a revision revise, add or stop.</summary>
    public string? Decision { get; init; }

    public string? Description { get; init; }

    /// <summary>Whether it departs from the suggestion.</summary>
    public bool Overrides { get; init; }

    /// <summary>Null in a revision, which answers none.</summary>
    public SuggestedAnswer? Suggested { get; init; }

    public StepRequest? Grading { get; init; }

    public string? From { get; init; }

    public bool? Lock { get; init; }

    public string? Reason { get; init; }

    public string? By { get; init; }

    public string? At { get; init; }

    /// <summary>Id of the prescription that holds from then on; null when none was changed.</summary>
    public string? Prescription { get; init; }

    /// <summary>Id of the prescription that it ended.</summary>
    public string? Ended { get; init; }

    /// <summary>Shared by the changes of one revision.</summary>
    public string? Revision { get; init; }

    internal static DecisionAnswer Of(FhirTask task)
    {
        var decision = DecisionMapping.Of(task, new Dictionary<string, string>());
        return new DecisionAnswer
        {
            Id = task.Id!,
            Task = $"Task/{task.Id}",
            Exercise = decision.Planned,
            Title = task.Focus?.Display,
            Decision = decision.Code,
            Description = task.Description,
            Overrides = decision.Overrides,
            Suggested = decision.Suggested is null ? null : new SuggestedAnswer(
                decision.Suggested, decision.Rule, Text(task, DecisionItem.RuleSet), Text(task, DecisionItem.RuleReason),
                [.. task.Inputs(DecisionItem.RuleInput).OfType<FhirString>().Select(i => Input(i.Value ?? ""))],
                [.. task.Inputs(DecisionItem.Evidence).OfType<ResourceReference>().Select(r => r.Reference).OfType<string>()]),
            Grading = decision.Dimension is null ? null : new StepRequest { Dimension = decision.Dimension, Text = decision.Step },
            From = task.ExecutionPeriod?.Start,
            Lock = decision.Lock,
            Reason = decision.Reason,
            By = decision.By,
            At = task.AuthoredOn,
            Prescription = task.Output(DecisionItem.Prescription),
            Ended = task.Output(DecisionItem.Ended),
            Revision = decision.Group,
        };
    }

    private static string? Text(FhirTask task, string item) => (task.Input(item) as FhirString)?.Value;

    private static RuleInput Input(string kept)
    {
        var at = kept.IndexOf(": ", StringComparison.Ordinal);
        return at < 0 ? new RuleInput(kept, "") : new RuleInput(kept[..at], kept[(at + 2)..]);
    }
}

/// <param name="Suggestion">advance, hold, step-back or stop-and-review.</param>
/// <param name="Evidence">Exact versions that the rules looked at.</param>
public sealed record SuggestedAnswer(
    string Suggestion, string? Rule, string? RuleSet, string? Reason, IReadOnlyList<RuleInput> Inputs, IReadOnlyList<string> Evidence);
