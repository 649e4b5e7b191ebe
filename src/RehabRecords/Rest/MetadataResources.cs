using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Search;
using RehabRecords.Rest.Conformance;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Rest;

/// <summary>The parts of the CapabilityStatement that follow from what is registered.</summary>
internal sealed class MetadataResources(
    ResourceRegistry registry, SearchParameters parameters, IReadOnlyList<Operation> operations, DefinitionsPack definitions, DefinitionSearch published)
{
    private static readonly (Interactions Interaction, CapabilityStatement.TypeRestfulInteraction Code)[] Codes =
    [
        (Interactions.Read, CapabilityStatement.TypeRestfulInteraction.Read),
        (Interactions.VersionRead, CapabilityStatement.TypeRestfulInteraction.Vread),
        (Interactions.Update, CapabilityStatement.TypeRestfulInteraction.Update),
        (Interactions.Patch, CapabilityStatement.TypeRestfulInteraction.Patch),
        (Interactions.Delete, CapabilityStatement.TypeRestfulInteraction.Delete),
        (Interactions.History, CapabilityStatement.TypeRestfulInteraction.HistoryInstance),
        (Interactions.TypeHistory, CapabilityStatement.TypeRestfulInteraction.HistoryType),
        (Interactions.Create, CapabilityStatement.TypeRestfulInteraction.Create),
        (Interactions.Search, CapabilityStatement.TypeRestfulInteraction.SearchType),
    ];

    public IEnumerable<CapabilityStatement.ResourceComponent> All =>
        registry.Kinds.Select(OfRecord).Concat(DefinitionKinds.All.Select(k => OfDefinitions(k.Type, k.Purpose))).OrderBy(r => r.Type, StringComparer.Ordinal);

    public static IEnumerable<CapabilityStatement.SystemRestfulInteraction> SystemInteractions =>
    [
        CapabilityStatement.SystemRestfulInteraction.Transaction,
        CapabilityStatement.SystemRestfulInteraction.Batch,
        CapabilityStatement.SystemRestfulInteraction.HistorySystem,
        CapabilityStatement.SystemRestfulInteraction.SearchSystem,
    ];

    public List<CapabilityStatement.OperationComponent> SystemOperations => Offered(operations.Where(o => o.IsOn(Level.System)));

    public IEnumerable<string> PatchFormats =>
        registry.Kinds.Any(k => k.Offers(Interactions.Patch)) ? ["application/json-patch+json", Negotiation.Json, Negotiation.Xml] : [];

    /// <summary>Documents that the service makes: one for each profile of ours of a document Bundle.</summary>
    public List<CapabilityStatement.DocumentComponent> Documents =>
    [
        .. definitions.OwnProfiles("Bundle").Where(p => p.Url.EndsWith("-document", StringComparison.Ordinal)).OrderBy(p => p.Url, StringComparer.Ordinal)
            .Select(p => new CapabilityStatement.DocumentComponent { Mode = CapabilityStatement.DocumentMode.Producer, Profile = p.Url }),
    ];

    private CapabilityStatement.ResourceComponent OfRecord(ResourceKind kind)
    {
        var resource = new CapabilityStatement.ResourceComponent
        {
            Type = kind.Type,
            Documentation = kind.Purpose,
            Profile = DefinitionsPack.CoreTypeUrl(kind.Type),
            Versioning = CapabilityStatement.ResourceVersionPolicy.VersionedUpdate,
            ReadHistory = kind.Offers(Interactions.VersionRead),
            UpdateCreate = false,
            // Only an identifier can promise that there is one match.
            ConditionalCreate = kind.Offers(Interactions.Create) && parameters.Find(kind.Type, "identifier") is not null,
            ConditionalRead = CapabilityStatement.ConditionalReadStatus.FullSupport,
            ConditionalUpdate = kind.Offers(Interactions.ConditionalUpdate),
            ConditionalDelete = kind.Offers(Interactions.ConditionalDelete)
                ? CapabilityStatement.ConditionalDeleteStatus.Single
                : CapabilityStatement.ConditionalDeleteStatus.NotSupported,
            ReferencePolicy = [CapabilityStatement.ReferenceHandlingPolicy.Literal, CapabilityStatement.ReferenceHandlingPolicy.Enforced],
            Interaction = [.. Codes.Where(c => kind.Offers(c.Interaction)).Select(c => new CapabilityStatement.ResourceInteractionComponent { Code = c.Code })],
            Operation = Offered(operations.Where(o => o.IsOfType(kind.Type))),
            SupportedProfile = [.. definitions.OwnProfiles(kind.Type).Select(p => p.Url).Order(StringComparer.Ordinal), .. PackageProfiles(kind.Type)],
        };
        if (!kind.Offers(Interactions.Search))
            return resource;
        foreach (var parameter in parameters.For(kind.Type))
            resource.SearchParam.Add(new() { Name = parameter.Code, Definition = parameter.Url, Type = parameter.Kind });
        resource.SearchInclude = [.. parameters.For(kind.Type).Where(p => p.Kind == SearchParamType.Reference).Select(p => $"{p.Type}:{p.Code}")];
        resource.SearchRevInclude = [.. parameters.All
            .Where(p => p.Kind == SearchParamType.Reference && p.Targets.Contains(kind.Type))
            .Select(p => $"{p.Type}:{p.Code}").Order(StringComparer.Ordinal)];
        return resource;
    }

    private CapabilityStatement.ResourceComponent OfDefinitions(string type, string purpose) => new()
    {
        Type = type,
        Documentation = purpose,
        Profile = DefinitionsPack.CoreTypeUrl(type),
        Versioning = CapabilityStatement.ResourceVersionPolicy.NoVersion,
        ReadHistory = false,
        UpdateCreate = false,
        ConditionalCreate = false,
        ConditionalRead = CapabilityStatement.ConditionalReadStatus.NotSupported,
        ConditionalUpdate = false,
        ConditionalDelete = CapabilityStatement.ConditionalDeleteStatus.NotSupported,
        Interaction = [new() { Code = CapabilityStatement.TypeRestfulInteraction.Read }, new() { Code = CapabilityStatement.TypeRestfulInteraction.SearchType }],
        SearchParam = [.. published.For(type).Select(p => new CapabilityStatement.SearchParamComponent { Name = p.Code, Definition = p.Url, Type = p.Kind })],
    };

    /// <summary>With its version where more than one is here, since the address alone means the newest.</summary>
    private IEnumerable<string> PackageProfiles(string type) =>
        from profiles in definitions.PackageProfiles(type).GroupBy(p => p.Url, StringComparer.Ordinal).OrderBy(g => g.Key, StringComparer.Ordinal)
        from profile in profiles.OrderBy(p => p.Version, StringComparer.Ordinal)
        select profiles.Count() > 1 && profile.Version is { } version ? $"{profile.Url}|{version}" : profile.Url;

    private static List<CapabilityStatement.OperationComponent> Offered(IEnumerable<Operation> offered) =>
        [.. offered.OrderBy(o => o.Name, StringComparer.Ordinal).Select(o => new CapabilityStatement.OperationComponent { Name = o.Name, Definition = o.Definition, Documentation = o.Documentation })];
}
