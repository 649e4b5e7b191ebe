using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Library;

/// <summary>Finds things of the library by "code|version".</summary>
internal static class LibraryReads
{
    public static async Task<ActivityDefinition> ExerciseAsync(this RecordStore store, string field, string address, CancellationToken ct) =>
        await store.ByAddressAsync<ActivityDefinition>("exercise", address, ct) ?? throw Missing.Unknown(field, address, "exercise (code|version) of the library");

    public static async Task<PlanDefinition> TemplateAsync(this RecordStore store, string field, string address, CancellationToken ct) =>
        await store.ByAddressAsync<PlanDefinition>("template", address, ct) ?? throw Missing.Unknown(field, address, "template (code|version) of the library");

    public static async Task<T?> ByAddressAsync<T>(this RecordStore store, string kind, string address, CancellationToken ct)
        where T : Resource
    {
        var type = ModelInfo.GetFhirTypeNameForType(typeof(T))!;
        return await store.HolderOfAsync(type, Canonical.Identifier(kind), address, ct) is { } id && await store.GetAsync<T>(id, ct) is { } found
            ? found.Resource
            : null;
    }

    /// <summary>"code|version" of a pinned canonical, whoever's base it has.</summary>
    public static string AddressOf(string canonical) => canonical[(canonical.LastIndexOf('/') + 1)..];
}
