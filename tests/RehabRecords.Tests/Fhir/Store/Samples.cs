using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

internal static class Samples
{
    public const string System = "https://clinic.example/ids";

    public static Patient Person(string? identifier = null, string family = "Example") => new()
    {
        Name = [new HumanName { Family = family, Given = ["Ann"] }],
        BirthDate = "1950-04-01",
        Identifier = identifier is null ? [] : [new Identifier(System, identifier)],
    };

    public static Observation Result(string patient, decimal value, string when = "2026-03-01T10:00:00Z") => new()
    {
        Status = ObservationStatus.Final,
        Code = new CodeableConcept("https://clinic.example/codes", "pegs"),
        Category = [new CodeableConcept("http://terminology.hl7.org/CodeSystem/observation-category", "therapy")],
        Subject = new ResourceReference($"Patient/{patient}"),
        Effective = new FhirDateTime(when),
        Value = new Quantity(value, "s", "http://unitsofmeasure.org"),
    };

    public static ErasureOrder Erasure(string patient, DateTimeOffset at) => new([patient], "t-1", at, "Sorrel Madeup", "person-asked", null, null)
    {
        Mentions = _ => false,
        Redact = (_, _) => new AuditEvent(),
        Attest = _ => new AuditEvent(),
    };

    public static IdempotencyKey Key(string key = "k1", string hash = "aa", string client = "notes") => new(client, key, hash);

    public static async Task<RecordVersion> CreateAsync(this RecordStore store, Resource resource)
    {
        var set = new WriteSet();
        set.Create(resource);
        return (await store.CommitAsync(set)).Written[0];
    }

    public static async Task<RecordVersion> UpdateAsync(this RecordStore store, Resource resource, int fromVersion)
    {
        var set = new WriteSet();
        set.Update(resource, fromVersion);
        return (await store.CommitAsync(set)).Written[0];
    }

    public static async Task<RecordVersion> DeleteAsync(this RecordStore store, string type, string id, int fromVersion)
    {
        var set = new WriteSet();
        set.Delete(type, id, fromVersion);
        return (await store.CommitAsync(set)).Written[0];
    }

    /// <summary>All ids a query finds, following the cursor from page to page.</summary>
    public static async Task<List<string>> IdsAsync(this RecordStore store, string type, string query)
    {
        var ids = new List<string>();
        string? cursor = null;
        do
        {
            var parsed = RehabRecords.Fhir.Search.SearchQuery.Parse(store.Parameters, type, query) with { Cursor = cursor };
            var page = await store.SearchAsync(parsed);
            ids.AddRange(page.Matches.Select(m => m.Id));
            cursor = page.Next;
        }
        while (cursor is not null);
        return ids;
    }
}
