using Microsoft.Extensions.DependencyInjection.Extensions;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Validation;
using RehabRecords.Programmes;
using RehabRecords.Rest;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Host;

/// <summary>The record: its definitions, its store and the one way to write to it.</summary>
internal static class Record
{
    public static void AddRecord(this IServiceCollection services)
    {
        services.TryAddSingleton(TimeProvider.System);
        services.AddSingleton(ResourceRegistry.Standard);
        services.AddSingleton(s => DefinitionsPack.Open(packagesFolder: s.GetRequiredService<Settings>().PackagesFolder));
        services.AddSingleton(s => SearchParametersOf(s.GetRequiredService<DefinitionsPack>(), s.GetRequiredService<ResourceRegistry>()));
        services.AddSingleton<SearchIndexer>();
        services.AddSingleton(s => ResourceValidator.Create(s.GetRequiredService<DefinitionsPack>()));
        services.AddScoped<Transaction>();
        services.AddSingleton<StartUp>();
        services.AddHostedService(s => s.GetRequiredService<StartUp>());
    }

    private static SearchParameters SearchParametersOf(DefinitionsPack pack, ResourceRegistry registry) =>
        SearchParameters.From(pack.SearchParameters([.. registry.Kinds.Select(k => k.Type)]), registry, pack.Compartments());

    public static void AddRest(this IServiceCollection services)
    {
        services.AddSingleton<Metadata>();
        services.AddScoped<Searches>();
        services.AddScoped<Histories>();
        services.AddScoped<Reads>();
        services.AddSingleton(_ => PublishedDefinitions.BesideTheProgram());
        services.AddSingleton<DefinitionSearch>();
        services.AddOperation(ValidateEndpoint.Operation);
        services.AddOperation(PatientEverything.Operation);
        services.AddOperation(CompositionDocument.Operation);
        services.AddOperation(ApplyDefinition.OfTemplate);
        services.AddOperation(ApplyDefinition.OfExercise);
    }
}
