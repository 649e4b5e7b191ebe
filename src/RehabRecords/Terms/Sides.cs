using Hl7.Fhir.Model;

namespace RehabRecords.Terms;

/// <summary>Which side, as /api says it ("left", "right", "both") and as bodySite holds it.</summary>
public static class Sides
{
    public const string Left = "left";
    public const string Right = "right";
    public const string Both = "both";

    /// <summary>The limb in our code and the laterality in SNOMED CT codes that R4 itself prints.</summary>
    public static CodeableConcept BodySite(string side)
    {
        var (limb, laterality) = side switch
        {
            Left => ("left-upper-limb", "419161000"),
            Right => ("right-upper-limb", "419465000"),
            Both => ("both-upper-limbs", "51440002"),
            _ => throw new ArgumentOutOfRangeException(nameof(side), side, "A side is left, right or both."),
        };
        return new CodeableConcept
        {
            Coding = [new Coding(Systems.Limb, limb), new Coding(Systems.SnomedCt, laterality)],
            Text = CodeLists.Limb.Words(limb),
        };
    }

    /// <summary>The side a bodySite tells, by either of its codes; null where it tells none.</summary>
    public static string? Of(CodeableConcept? bodySite) =>
        bodySite?.Coding.Select(c => (c.System, c.Code) switch
        {
            (Systems.Limb, "left-upper-limb") or (Systems.SnomedCt, "419161000") => Left,
            (Systems.Limb, "right-upper-limb") or (Systems.SnomedCt, "419465000") => Right,
            (Systems.Limb, "both-upper-limbs") or (Systems.SnomedCt, "51440002") => Both,
            _ => null,
        }).FirstOrDefault(side => side is not null);
}
