using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.People;

/// <summary>Between the person of a request and Patient, RelatedPerson and Flag.</summary>
internal static class PersonMapping
{
    public static Patient ToPatient(this PersonRequest request)
    {
        var name = new HumanName { Use = HumanName.NameUse.Official, Family = request.FamilyName, Given = request.GivenNames! };
        var patient = new Patient
        {
            Active = true,
            Name = [name],
            BirthDate = Iso(request.BirthDate),
            Gender = request.Sex switch
            {
                "female" => AdministrativeGender.Female,
                "male" => AdministrativeGender.Male,
                "other" => AdministrativeGender.Other,
                _ => AdministrativeGender.Unknown,
            },
            Text = Readable.Of(
                $"{string.Join(' ', request.GivenNames!)} {request.FamilyName}, born {request.BirthDate:d MMMM yyyy}.",
                request.AffectedSide is null ? null : $"Affected side: {request.AffectedSide}.",
                request.DominantHand is null ? null : $"Dominant hand: {request.DominantHand}.",
                request.OnsetDate is null ? null : $"Onset: {request.OnsetDate:d MMMM yyyy}."),
        };
        if (request.Identifier is { } identifier)
            patient.Identifier.Add(identifier.ToFhir());
        var context = new Extension { Url = Extensions.RehabilitationContext };
        if (request.DominantHand is { } hand)
            context.Extension.Add(new Extension("dominantHand", new Code(hand)));
        if (request.AffectedSide is { } side)
            context.Extension.Add(new Extension("affectedSide", new Code(side)));
        if (request.OnsetDate is { } onset)
            context.Extension.Add(new Extension("onset", new Date(Iso(onset))));
        if (context.Extension.Count > 0)
            patient.Extension.Add(context);
        return patient;
    }

    public static RelatedPerson ToCarer(this CarerRequest request, string person) => new()
    {
        Active = true,
        Patient = new ResourceReference($"Patient/{person}"),
        Name = [new HumanName { Text = request.Name }],
        Relationship = request.Relationship is null ? [] : [new CodeableConcept { Text = request.Relationship }],
        Telecom = request.Phone is null ? [] : [new ContactPoint { System = ContactPoint.ContactPointSystem.Phone, Value = request.Phone }],
        Text = Readable.Of($"Carer: {request.Name}{(request.Relationship is null ? "" : $" ({request.Relationship})")}."),
    };

    public static Flag ToFlag(this PrecautionRequest request, string person, DateOnly since)
    {
        var words = CodeLists.Precaution.Words(request.Code!);
        var text = request.Note is null ? words : $"{words}: {request.Note}";
        return new Flag
        {
            Status = Flag.FlagStatus.Active,
            Category = [Concepts.Concept(Systems.FlagCategory, FlagCategory.Precaution)],
            Code = Concepts.Concept(Systems.Precaution, request.Code!, text),
            Subject = new ResourceReference($"Patient/{person}"),
            Period = new Period { Start = Iso(since) },
            Text = Readable.Of($"Precaution: {text}"),
        };
    }

    public static PersonAnswer ToAnswer(Patient patient, RelatedPerson? carer, IEnumerable<Flag> precautions)
    {
        var context = patient.GetExtension(Extensions.RehabilitationContext);
        var name = patient.Name.FirstOrDefault();
        return new PersonAnswer
        {
            Id = patient.Id!,
            Person = $"Patient/{patient.Id}",
            Identifier = BusinessId.From(patient.Identifier.FirstOrDefault(i => i.System is not null)),
            FamilyName = name?.Family,
            GivenNames = PersonMapping.GivenNames(name),
            BirthDate = patient.BirthDate,
            Sex = patient.Gender?.ToString().ToLowerInvariant(),
            DominantHand = context?.GetExtensionValue<Code>("dominantHand")?.Value,
            AffectedSide = context?.GetExtensionValue<Code>("affectedSide")?.Value,
            OnsetDate = context?.GetExtensionValue<Date>("onset")?.Value,
            Carer = carer is null ? null : new CarerAnswer(
                $"RelatedPerson/{carer.Id}", carer.Name.FirstOrDefault()?.Text, carer.Relationship.FirstOrDefault()?.Text, carer.Telecom.FirstOrDefault()?.Value),
            ReplacedBy = Replaced.By(patient),
            Replaces = [.. patient.Link.Where(l => l.Type == Patient.LinkType.Replaces).Select(l => Rules.Bare(l.Other?.Reference ?? "", "Patient"))],
            Precautions = [.. precautions.Select(f => new PrecautionAnswer(
                f.Id!, f.Code.CodeIn(Systems.Precaution), f.Code.Text, f.Period?.Start))],
        };
    }

    /// <summary>The side a programme treats when nobody says otherwise.</summary>
    public static string? AffectedSide(this Patient patient) =>
        patient.GetExtension(Extensions.RehabilitationContext)?.GetExtensionValue<Code>("affectedSide")?.Value;

    public static async Task<RelatedPerson?> CarerOfAsync(this RecordStore store, string person, CancellationToken ct) =>
        await store.FindAllAsync<RelatedPerson>($"patient=Patient/{person}", ct) is [var first, ..] ? first : null;

    public static IReadOnlyList<string> GivenNames(HumanName? name) => [.. (name?.Given ?? []).OfType<string>()];

    private static string? Iso(DateOnly? date) => date?.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);
}
