using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.RecordExport;

/// <summary>A record in which everything happens once that can happen to a record.</summary>
internal static class SampleRecord
{
    public const string Result = "corrected-twice";

    public static Observation Value(string person, decimal value)
    {
        var result = Samples.Result(person, value);
        result.Id = Result;
        result.Performer = [new ResourceReference("Practitioner/physio")];
        return result;
    }

    /// <returns>Id of the person.</returns>
    public static Task<string> FillAsync(ExportClinic clinic) => FillAsync(clinic.Store, clinic.Clock);

    public static async Task<string> FillAsync(RecordStore store, SetClock clock)
    {
        const string Person = "person";
        await store.CreateAsync(new Organization { Id = "organisation-of-physio", Name = "Pebblewick" });
        await store.CreateAsync(new Practitioner { Id = "physio", Name = [new HumanName { Family = "Invented" }], Qualification = [new Practitioner.QualificationComponent { Code = new CodeableConcept { Text = "physiotherapist" }, Issuer = new ResourceReference("Organization/organisation-of-physio") }] });
        foreach (var version in new[] { "1", "2" })
            await store.CreateAsync(new ActivityDefinition { Id = $"pegs-{version}", Url = "https://clinic.example/exercise/pegs", Version = version, Status = PublicationStatus.Active });
        var patient = Samples.Person("p-1");
        patient.Id = Person;
        await store.CreateAsync(patient);
        var other = Samples.Person("p-2", "Somebodyelse");
        other.Id = "other";
        await store.CreateAsync(other);
        await store.CreateAsync(Samples.Result("other", 3));
        await store.CreateAsync(new ServiceRequest
        {
            Id = "prescribed",
            Status = RequestStatus.Active,
            Intent = RequestIntent.Order,
            Subject = new ResourceReference($"Patient/{Person}"),
            InstantiatesCanonical = ["https://clinic.example/exercise/pegs|2"],
        });
        await store.CreateAsync(Value(Person, 1));
        for (var version = 1; version <= 2; version++)
        {
            clock.Now += TimeSpan.FromMinutes(1);
            await store.UpdateAsync(Value(Person, version + 1), version);
        }

        // Recorded of this person by mistake, then put right.
        var moved = Samples.Result(Person, 5);
        moved.Id = "moved";
        await store.CreateAsync(moved);
        moved.Subject = new ResourceReference("Patient/other");
        await store.UpdateAsync(moved, 1);
        moved.Value = new Quantity(7, "s", "http://unitsofmeasure.org");
        await store.UpdateAsync(moved, 2);
        var mistake = Samples.Result(Person, 6);
        mistake.Id = "mistake";
        await store.CreateAsync(mistake);
        await store.DeleteAsync("Observation", "mistake", 1);
        foreach (var id in new[] { "kept", "withdrawn" })
            await store.CreateAsync(new Provenance
            {
                Id = id,
                Target = [new ResourceReference($"Observation/{Result}")],
                Recorded = clock.Now,
                Agent = [new Provenance.AgentComponent { Who = new ResourceReference("Practitioner/physio") }],
            });
        await store.DeleteAsync("Provenance", "withdrawn", 1);
        foreach (var (id, words) in new[] { ("note", "Grip got better."), ("signed", "All of it.") })
            await store.CreateAsync(Note(id, Person, words, clock.Now));
        var bundle = new Bundle
        {
            Id = "frozen",
            Type = Bundle.BundleType.Document,
            Identifier = new Identifier("urn:ietf:rfc:3986", "urn:uuid:0a4a3a9e-5f9b-4d53-9d1c-0d0c0f3a3b11"),
            Timestamp = clock.Now,
            Entry = [new Bundle.EntryComponent { FullUrl = "http://records.test/fhir/Composition/signed", Resource = await ReadAsync(store, "signed") }],
        };
        await store.CreateAsync(bundle);
        return Person;
    }

    private static async Task<Composition> ReadAsync(RecordStore store, string id) => (await store.GetAsync<Composition>(id))!.Value.Resource;

    private static Composition Note(string id, string person, string words, DateTimeOffset at) => new()
    {
        Id = id,
        Status = id == "note" ? CompositionStatus.Preliminary : CompositionStatus.Final,
        Type = new CodeableConcept { Text = "note" },
        Subject = new ResourceReference($"Patient/{person}"),
        DateElement = new FhirDateTime(at),
        Author = [new ResourceReference("Practitioner/physio")],
        Title = "A note <of> sorts",
        Section =
        [
            new Composition.SectionComponent
            {
                Title = "Course", Text = new Narrative { Status = Narrative.NarrativeStatus.Generated, Div = $"<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>{words}</p></div>" },
                Entry = [new ResourceReference($"Observation/{Result}/_history/2"), new ResourceReference($"Patient/{person}")],
            },
        ],
    };
}
