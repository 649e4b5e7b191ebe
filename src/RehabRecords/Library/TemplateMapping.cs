using Hl7.Fhir.Model;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Library;

/// <summary>Between the template of a request and PlanDefinition: one choice of levels, one action per level, one per exercise.</summary>
internal static class TemplateMapping
{
    private const string LevelsId = "levels";

    /// <param name="exercises">The exercises named, by "code|version".</param>
    public static PlanDefinition ToDefinition(this TemplateRequest request, IReadOnlyDictionary<string, ActivityDefinition> exercises)
    {
        var definition = new PlanDefinition
        {
            Url = Canonical.Template(request.Code!),
            Identifier = [new Identifier(Canonical.Identifier("template"), $"{request.Code}|{request.Version}")],
            Version = request.Version,
            Name = ExerciseMapping.ComputableName(request.Code!),
            Title = request.Title,
            Type = Concepts.Concept(Systems.PlanDefinitionType, "clinical-protocol"),
            Status = PublicationStatus.Active,
            Experimental = false,
            Publisher = ExerciseMapping.Publisher,
            Description = request.Description,
            Action =
            [
                new PlanDefinition.ActionComponent
                {
                    ElementId = LevelsId,
                    Title = "Levels",
                    GroupingBehavior = ActionGroupingBehavior.LogicalGroup,
                    SelectionBehavior = ActionSelectionBehavior.ExactlyOne,
                    RequiredBehavior = ActionRequiredBehavior.Must,
                    CardinalityBehavior = ActionCardinalityBehavior.Single,
                    Action = [.. request.Levels!.Select(level => ToAction(level, exercises))],
                },
            ],
        };
        definition.Profiled(Profiles.ProgrammeTemplate);
        definition.Text = Readable.Of([
            request.Title, request.Description,
            .. request.Levels!.SelectMany(level => (IEnumerable<string?>)[
                $"Level {level.Level}: {level.Title}",
                level.StartsWhen is { } when ? PlainWords.Sentence($"Starts when: {when}") : null,
                level.CapacityBands is { Count: > 0 } bands ? PlainWords.Sentence($"Written for: {string.Join(", ", bands.Select(CodeLists.CapacityBand.Words))}") : null,
                .. level.Exercises!.Select(e => $"{exercises[e.Exercise!].Title}. {PlainWords.Dosage(DosageOf(e, exercises))}")])]);
        return definition;
    }

    private static PlanDefinition.ActionComponent ToAction(TemplateLevel level, IReadOnlyDictionary<string, ActivityDefinition> exercises)
    {
        var action = new PlanDefinition.ActionComponent
        {
            ElementId = $"level-{level.Level}",
            Prefix = level.Level.ToString(),
            Title = level.Title,
            Description = level.StartsWhen,
            Action = [.. level.Exercises!.Select((e, i) => ToAction(e, $"level-{level.Level}-exercise-{i + 1}", exercises))],
        };
        action.Extension.Add(new Extension(Extensions.Level, new PositiveInt(level.Level)));
        action.Extension.AddRange((level.CapacityBands ?? []).Select(b => new Extension(Extensions.CapacityBand, CodeLists.CapacityBand.Concept(b))));
        if (level.Level > 1)
            action.RelatedAction.Add(new PlanDefinition.RelatedActionComponent
            {
                ActionId = $"level-{level.Level - 1}",
                Relationship = ActionRelationshipType.AfterEnd,
            });
        return action;
    }

    private static PlanDefinition.ActionComponent ToAction(TemplateExercise exercise, string id, IReadOnlyDictionary<string, ActivityDefinition> exercises)
    {
        var definition = exercises[exercise.Exercise!];
        var action = new PlanDefinition.ActionComponent
        {
            ElementId = id,
            Title = definition.Title,
            Definition = new Hl7.Fhir.Model.Canonical(Canonical.Pinned(definition.Url!, definition.Version!)),
        };
        if (exercise.Dosage is { } dosage)
            action.Extension.Add(new ExerciseSetUp(dosage, null, null, null, null).ToExtension());
        return action;
    }

    private static DosageRequest DosageOf(TemplateExercise exercise, IReadOnlyDictionary<string, ActivityDefinition> exercises)
    {
        var usual = ExerciseParts.SetUpOf(exercises[exercise.Exercise!])?.Dosage ?? new DosageRequest();
        return exercise.Dosage?.Over(usual) ?? usual;
    }

    public static TemplateAnswer ToAnswer(this PlanDefinition definition) => new(
        definition.Id!,
        // Put in through /fhir it need not have a code of its own.
        definition.Identifier.FirstOrDefault()?.Value ?? definition.Id!,
        Canonical.Pinned(definition.Url!, definition.Version!),
        definition.Title,
        definition.Description,
        LevelsOf(definition));

    public static IReadOnlyList<TemplateLevel> LevelsOf(PlanDefinition definition) =>
        [.. definition.Action.Where(a => a.ElementId == LevelsId).SelectMany(a => a.Action).Select(level => new TemplateLevel
        {
            Level = level.GetExtensionValue<PositiveInt>(Extensions.Level)?.Value,
            Title = level.Title,
            StartsWhen = level.Description,
            CapacityBands = [.. level.GetExtensions(Extensions.CapacityBand).Select(e => (e.Value as CodeableConcept).CodeIn(Systems.CapacityBand)).OfType<string>()],
            Exercises = [.. level.Action.Select(e => new TemplateExercise
            {
                Exercise = LibraryReads.AddressOf(((PrimitiveType)e.Definition!).ToString()!),
                Dosage = ExerciseParts.SetUpOf(e)?.Dosage,
            })],
        })];
}

public sealed record TemplateAnswer(string Id, string Template, string Canonical, string? Title, string? Description, IReadOnlyList<TemplateLevel> Levels);
