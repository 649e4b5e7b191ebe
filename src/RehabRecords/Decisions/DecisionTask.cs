using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Library;
using RehabRecords.Programmes;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Decisions;

/// <summary>What is kept of one decision.</summary>
/// <param name="Code">A code of <see cref="DecisionCode"/>.</param>
/// <param name="About">The prescription it is about; the new one, when an exercise is added.</param>
/// <param name="Planned">Id of the prescription whatever its version, by which decisions about it are counted.</param>
/// <param name="Words">What is decided, in plain words.</param>
internal sealed record Decided(string Code, ServiceRequest About, string Planned, DateOnly From, ResourceReference By, string? Reason, string Words)
{
    /// <summary>The suggestion as it stood; null in a revision.</summary>
    public ProgressionSuggestion? Suggested { get; init; }

    public Grading? Step { get; init; }

    public bool? Lock { get; init; }

    public ServiceRequest? Prescription { get; init; }

    /// <summary>The prescription that it ends.</summary>
    public ServiceRequest? Ended { get; init; }

    /// <summary>Number of the revision that it is part of.</summary>
    public string? Group { get; init; }

    /// <param name="earlier">Decisions about the same prescription so far. Two at once would get the same number, and only one of them can have it.</param>
    public FhirTask ToTask(CarePlan programme, int earlier, DateTimeOffset now)
    {
        var task = new FhirTask
        {
            Identifier = [new Identifier(Canonical.Identifier("decision"), $"{Planned}/{earlier + 1}")],
            GroupIdentifier = Group is null ? null : new Identifier(Canonical.Identifier("revision"), $"{programme.Id}/{Group}"),
            BasedOn = [new ResourceReference($"CarePlan/{programme.Id}")],
            Status = FhirTask.TaskStatus.Completed,
            Intent = FhirTask.TaskIntent.Order,
            Code = CodeLists.Decision.Concept(Code),
            Description = Words,
            Focus = new ResourceReference($"ServiceRequest/{About.Id}", About.Code?.Text),
            For = new ResourceReference(programme.Subject.Reference),
            ExecutionPeriod = new Period { Start = Timings.Iso(From) },
            AuthoredOnElement = new FhirDateTime(now),
            Requester = (ResourceReference)By.DeepCopy(),
            ReasonCode = Reason is null ? null : new CodeableConcept { Text = Reason },
            Text = Readable.Of(
                PlainWords.Sentence(Words),
                PlainWords.Sentence($"Decided by {By.Display}, to hold from {From:d MMMM yyyy}"),
                Suggested is null ? null : PlainWords.Sentence($"Suggested was: {CodeLists.Suggestion.Words(Suggested.Suggestion.Code())}, since {Suggested.Reason} (rule {Suggested.Rule}, rule set {Suggested.RuleSet})"),
                Lock is null ? null : Lock == true ? "The level is locked." : "The level is no longer locked.",
                Reason is null ? null : PlainWords.Sentence($"Reason: {Reason}")),
        };
        task.Profiled(Profiles.ProgressionDecision);
        if (Suggested is { } suggestion)
        {
            Keep(task, DecisionItem.Suggestion, CodeLists.Suggestion.Concept(suggestion.Suggestion.Code()));
            Keep(task, DecisionItem.Rule, new FhirString(suggestion.Rule));
            Keep(task, DecisionItem.RuleSet, new FhirString(suggestion.RuleSet));
            Keep(task, DecisionItem.RuleReason, new FhirString(suggestion.Reason));
            foreach (var input in suggestion.Inputs)
                Keep(task, DecisionItem.RuleInput, new FhirString($"{input.Name}: {input.Value}"));
            foreach (var address in suggestion.Evidence)
                Keep(task, DecisionItem.Evidence, new ResourceReference(address));
        }
        if (Step is { } step)
        {
            Keep(task, DecisionItem.Dimension, CodeLists.GradingDimension.Concept(step.Dimension.Code()));
            Keep(task, DecisionItem.Step, new FhirString(step.Text));
        }
        if (Lock is { } locked)
            Keep(task, DecisionItem.Lock, new FhirBoolean(locked));
        if (Prescription is not null)
            task.Output.Add(new FhirTask.OutputComponent { Type = Item(DecisionItem.Prescription), Value = new ResourceReference($"ServiceRequest/{Prescription.Id}") });
        if (Ended is not null)
            task.Output.Add(new FhirTask.OutputComponent { Type = Item(DecisionItem.Ended), Value = new ResourceReference($"ServiceRequest/{Ended.Id}") });
        return task;
    }

    private static void Keep(FhirTask task, string item, DataType value) => task.Input.Add(new FhirTask.ParameterComponent { Type = Item(item), Value = value });

    private static CodeableConcept Item(string item) => new(Systems.DecisionItem, item);
}
