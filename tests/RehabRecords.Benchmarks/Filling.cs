using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Benchmarks;

/// <summary>Made-up people and results, put straight into a store; the same for the same numbers.</summary>
internal static class Filling
{
    public const int People = 1000;
    private const string Codes = "https://clinic.example/codes";
    private static readonly DateTimeOffset Start = new(2026, 1, 1, 8, 0, 0, TimeSpan.Zero);

    /// <param name="people">How many; a multiple of 200.</param>
    public static async Task PeopleAsync(RecordStore store, int people = People)
    {
        for (var from = 0; from < people; from += 200)
        {
            var set = new WriteSet();
            for (var i = from; i < from + 200; i++)
                set.Create(new Patient { Id = $"p{i}", Identifier = [new Identifier("https://clinic.example/ids", $"{i}")], Name = [new HumanName { Family = $"Example{i}", Given = ["Ann"] }] });
            await store.CommitAsync(set);
        }
    }

    public static WriteSet Set(int count, int seed)
    {
        var set = new WriteSet();
        for (var i = 0; i < count; i++)
            set.Create(Result(seed + i));
        return set;
    }

    private static Observation Result(int n) => new()
    {
        Status = ObservationStatus.Final,
        Category = [new CodeableConcept("http://terminology.hl7.org/CodeSystem/observation-category", "therapy")],
        Code = new CodeableConcept(Codes, $"c{n % 37}", "An exercise that was practised", null),
        Subject = new ResourceReference($"Patient/p{n * 7919L % People}"),
        Effective = new FhirDateTime(Start.AddMinutes(n * 13L % 500_000)),
        Value = new Quantity((n % 50) + 0.5m, "s", "http://unitsofmeasure.org"),
        Performer = [new ResourceReference { Display = "The person at home" }],
        Note = [new Annotation { Text = "Went well; a little tired at the end." }],
    };
}
