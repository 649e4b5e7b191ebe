using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Terms;

namespace RehabRecords.Progress;

/// <summary>Flags as precautions of a person, and prescriptions as the cautions they carry.</summary>
internal static class PrecautionMapping
{
    private const string Standing = "standing";

    public static bool IsPrecaution(Flag flag) => flag.Category.Any(c => c.CodeIn(Systems.FlagCategory) == FlagCategory.Precaution);

    /// <summary>The active ones, in the order of the list of codes.</summary>
    public static IReadOnlyList<PersonPrecaution> Of(IEnumerable<Flag> flags) =>
        [.. from flag in flags
            where IsPrecaution(flag) && flag.Status == Flag.FlagStatus.Active
            let code = flag.Code.CodeIn(Systems.Precaution)
            where CodeLists.Precaution.Has(code)
            orderby CodeLists.Precaution.Place(code!), flag.Id
            select new PersonPrecaution(flag.Identity(), flag.Evidence(), code!, Addresses.Day(flag.Period?.Start))];

    /// <summary>What is attached to an exercise: the cautions it names, and standing where it is done standing.</summary>
    public static IReadOnlyList<string> Tags(IEnumerable<string?> cautions, string? position) =>
        [.. cautions.OfType<string>().Append(position == Standing ? Standing : "")
            .Where(code => Cautions.Catalogue.Any(c => c.Code == code)).Distinct(StringComparer.Ordinal)];

    public static IReadOnlyList<string> TagsOf(ServiceRequest request) => Tags(
        request.GetExtensions(Extensions.Caution).Select(CodeOf),
        request.GetExtension(Extensions.ExerciseDosage)?.GetExtensionValue<CodeableConcept>(Extensions.Dosage.Position).CodeIn(Systems.Position));

    /// <summary>Those that the prescription gives a reason for: they were found to apply to the person.</summary>
    public static IReadOnlyList<string> ToldBy(ServiceRequest request) =>
        [.. request.GetExtensions(Extensions.Caution).Where(e => e.GetExtension(Extensions.CautionPart.Reason) is not null).Select(CodeOf).OfType<string>().Distinct(StringComparer.Ordinal)];

    private static string? CodeOf(Extension caution) => caution.GetExtensionValue<CodeableConcept>(Extensions.CautionPart.Code).CodeIn(Systems.Caution);
}
