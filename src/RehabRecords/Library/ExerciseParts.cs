using Hl7.Fhir.Model;
using RehabRecords.Terms;

namespace RehabRecords.Library;

/// <summary>How an exercise is set up, beside how much of it: what the dosage extension holds.</summary>
public sealed record ExerciseSetUp(DosageRequest Dosage, string? Position, string? HandOrder, string? HelpLevel, string? SuccessCriterion);

/// <summary>
/// Between the extensions of an exercise and plain records. ActivityDefinition, PlanDefinition.action and
/// ServiceRequest carry the same ones, so they are written and read here only.
/// </summary>
public static class ExerciseParts
{
    private static class Part
    {
        public const string Item = "item";
        public const string HouseholdAlternative = "householdAlternative";
        public const string Direction = "direction";
        public const string Dimension = "dimension";
        public const string Text = "text";
        public const string Code = "code";
        public const string Condition = "condition";
        public const string Stop = "stop";
    }

    public static Extension ToExtension(this ExerciseSetUp setUp)
    {
        var extension = new Extension { Url = Extensions.ExerciseDosage };
        void Add(string part, DataType? value)
        {
            if (value is not null)
                extension.Extension.Add(new Extension(part, value));
        }

        var dosage = setUp.Dosage;
        Add(Extensions.Dosage.Sets, dosage.Sets is { } sets ? new PositiveInt(sets) : null);
        Add(Extensions.Dosage.Repetitions, dosage.Repetitions is { } repetitions ? new PositiveInt(repetitions) : null);
        Add(Extensions.Dosage.Hold, dosage.HoldSeconds is { } hold ? Lasting(hold, "s") : null);
        Add(Extensions.Dosage.Rest, dosage.RestSeconds is { } rest ? Lasting(rest, "s") : null);
        Add(Extensions.Dosage.Minutes, dosage.Minutes is { } minutes ? Lasting(minutes, "min") : null);
        Add(Extensions.Dosage.Tempo, dosage.Tempo is { } tempo ? new FhirString(tempo) : null);
        Add(Extensions.Dosage.Position, setUp.Position is { } position ? CodeLists.Position.Concept(position) : null);
        Add(Extensions.Dosage.HandOrder, setUp.HandOrder is { } order ? CodeLists.HandOrder.Concept(order) : null);
        Add(Extensions.Dosage.HelpLevel, setUp.HelpLevel is { } help ? CodeLists.HelpLevel.Concept(help) : null);
        Add(Extensions.Dosage.SuccessCriterion, setUp.SuccessCriterion is { } success ? new FhirString(success) : null);
        return extension;
    }

    public static ExerciseSetUp? SetUpOf(IExtendable element)
    {
        var extension = element.GetExtension(Extensions.ExerciseDosage);
        return extension is null
            ? null
            : new ExerciseSetUp(
                new DosageRequest
                {
                    Sets = extension.GetExtensionValue<PositiveInt>(Extensions.Dosage.Sets)?.Value,
                    Repetitions = extension.GetExtensionValue<PositiveInt>(Extensions.Dosage.Repetitions)?.Value,
                    HoldSeconds = (int?)extension.GetExtensionValue<Duration>(Extensions.Dosage.Hold)?.Value,
                    RestSeconds = (int?)extension.GetExtensionValue<Duration>(Extensions.Dosage.Rest)?.Value,
                    Minutes = extension.GetExtensionValue<Duration>(Extensions.Dosage.Minutes)?.Value,
                    Tempo = extension.GetExtensionValue<FhirString>(Extensions.Dosage.Tempo)?.Value,
                },
                extension.GetExtensionValue<CodeableConcept>(Extensions.Dosage.Position).CodeIn(Systems.Position),
                extension.GetExtensionValue<CodeableConcept>(Extensions.Dosage.HandOrder).CodeIn(Systems.HandOrder),
                extension.GetExtensionValue<CodeableConcept>(Extensions.Dosage.HelpLevel).CodeIn(Systems.HelpLevel),
                extension.GetExtensionValue<FhirString>(Extensions.Dosage.SuccessCriterion)?.Value);
    }

    public static Extension ToExtension(this EquipmentItem item)
    {
        var extension = new Extension { Url = Extensions.Equipment };
        extension.Extension.Add(new Extension(Part.Item, new FhirString(item.Item)));
        if (item.HouseholdAlternative is { } alternative)
            extension.Extension.Add(new Extension(Part.HouseholdAlternative, new FhirString(alternative)));
        return extension;
    }

    public static IReadOnlyList<EquipmentItem> EquipmentOf(IExtendable element) =>
        [.. element.GetExtensions(Extensions.Equipment).Select(e => new EquipmentItem { Item = Words(e, Part.Item), HouseholdAlternative = Words(e, Part.HouseholdAlternative) })];

    public static Extension ToExtension(this GradingStep step) => new()
    {
        Url = Extensions.Grading,
        Extension =
        [
            new Extension(Part.Direction, new Code(step.Direction)),
            new Extension(Part.Dimension, CodeLists.GradingDimension.Concept(step.Dimension!)),
            new Extension(Part.Text, new FhirString(step.Text)),
        ],
    };

    public static IReadOnlyList<GradingStep> GradingOf(IExtendable element) =>
        [.. element.GetExtensions(Extensions.Grading).Select(e => new GradingStep
        {
            Direction = e.GetExtensionValue<Code>(Part.Direction)?.Value,
            Dimension = e.GetExtensionValue<CodeableConcept>(Part.Dimension).CodeIn(Systems.GradingDimension),
            Text = Words(e, Part.Text),
        })];

    public static Extension ToExtension(this CautionItem caution)
    {
        var extension = new Extension { Url = Extensions.Caution };
        extension.Extension.Add(new Extension(Part.Code, CodeLists.Caution.Concept(caution.Code!)));
        if (caution.Condition is { } condition)
            extension.Extension.Add(new Extension(Part.Condition, new FhirString(condition)));
        extension.Extension.Add(new Extension(Part.Text, new FhirString(caution.Text)));
        extension.Extension.Add(new Extension(Part.Stop, new FhirBoolean(caution.Stop)));
        return extension;
    }

    public static IReadOnlyList<CautionItem> CautionsOf(IExtendable element) =>
        [.. element.GetExtensions(Extensions.Caution).Select(e => new CautionItem
        {
            Code = e.GetExtensionValue<CodeableConcept>(Part.Code).CodeIn(Systems.Caution),
            Condition = Words(e, Part.Condition),
            Text = Words(e, Part.Text),
            Stop = e.GetExtensionValue<FhirBoolean>(Part.Stop)?.Value ?? false,
        })];

    private static string? Words(Extension extension, string part) => extension.GetExtensionValue<FhirString>(part)?.Value;

    private static Duration Lasting(decimal value, string unit) => new() { Value = value, Unit = unit, System = Systems.Ucum, Code = unit };
}
