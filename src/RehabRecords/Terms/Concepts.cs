using Hl7.Fhir.Model;

namespace RehabRecords.Terms;

/// <summary>Small steps between codes and FHIR elements that every feature takes.</summary>
public static class Concepts
{
    /// <summary>A coded concept with the words a receiver can read who does not know our codes.</summary>
    public static CodeableConcept Concept(this CodeList list, string code) => new(list.System, code, list.Words(code));

    public static CodeableConcept Concept(string system, string code, string? text = null) =>
        text is null ? new CodeableConcept(system, code) : new CodeableConcept(system, code, text);

    /// <summary>The code a concept carries in one system, or null.</summary>
    public static string? CodeIn(this CodeableConcept? concept, string system) =>
        concept?.Coding.FirstOrDefault(c => c.System == system)?.Code;

    /// <summary>Adds a second coding and keeps the text.</summary>
    public static CodeableConcept And(this CodeableConcept concept, string system, string code)
    {
        concept.Coding.Add(new Coding(system, code));
        return concept;
    }

    /// <summary>A quantity in UCUM.</summary>
    public static Quantity Ucum(decimal value, string code, string? words = null) =>
        new() { Value = value, Unit = words ?? code, System = Systems.Ucum, Code = code };

    public static void Profiled(this Resource resource, string profile) => resource.Meta = new Meta { Profile = [profile] };
}
