using System.Security.Cryptography;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;
using RehabRecords.Host;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Rest;

/// <summary>The CapabilityStatement, made from the same registry as the routes.</summary>
internal sealed class Metadata(ResourceRegistry registry, SearchParameters parameters, IEnumerable<Operation> operations, DefinitionsPack definitions, Settings settings, TimeProvider clock)
{
    private readonly Lazy<(CapabilityStatement Statement, string ETag)> _made = new(() =>
    {
        var statement = Statement(registry, parameters, [.. operations], definitions, settings);
        // The tag changes with the content, not with the time at which the service was started.
        var tag = $"W/\"{Convert.ToHexStringLower(SHA256.HashData(ResourceWriter.Json(statement)))[..16]}\"";
        statement.DateElement = new FhirDateTime(clock.GetUtcNow());
        return (statement, tag);
    });

    public static Task<IResult> AnswerAsync(Call call)
    {
        call.RefuseOtherQueryThan("mode");
        if (call.Query().Find(q => q.Key == "mode").Value is not (null or "full" or "normative"))
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.NotSupported, "mode is 'full' or 'normative'; nothing else is offered.", "mode");
        var (statement, tag) = call.Need<Metadata>()._made.Value;
        call.Http.Response.Headers.ETag = tag;
        return Task.FromResult<IResult>(call.Http.Request.Headers.IfNoneMatch.ToString() == tag
            ? Results.StatusCode(StatusCodes.Status304NotModified)
            : new BodyResult(call, ResourceWriter.Json(statement)));
    }

    private static CapabilityStatement Statement(ResourceRegistry registry, SearchParameters parameters, IReadOnlyList<Operation> operations, DefinitionsPack definitions, Settings settings)
    {
        var version = typeof(Metadata).Assembly.GetName().Version!.ToString(3);
        var rest = new CapabilityStatement.RestComponent
        {
            Mode = CapabilityStatement.RestfulCapabilityMode.Server,
            Documentation = "Unknown search parameters are refused unless Prefer: handling=lenient is sent. Every update and deletion names the version it was made from (If-Match).",
            Interaction =
            [
                new() { Code = CapabilityStatement.SystemRestfulInteraction.Transaction },
                new() { Code = CapabilityStatement.SystemRestfulInteraction.Batch },
                new() { Code = CapabilityStatement.SystemRestfulInteraction.SearchSystem },
            ],
            Compartment = ["http://hl7.org/fhir/CompartmentDefinition/patient"],
            Operation = Offered(operations.Where(o => o.IsOn(Level.System))),
        };
        foreach (var kind in registry.Kinds)
            rest.Resource.Add(Resource(kind, parameters, operations, definitions));
        return new CapabilityStatement
        {
            Status = PublicationStatus.Active,
            Kind = CapabilityStatementKind.Instance,
            FhirVersion = FHIRVersion.N4_0_1,
            Name = "RehabRecords",
            Title = "RehabRecords: home programmes for the arm and hand, their results and draft progress notes",
            Software = new() { Name = "RehabRecords", Version = version },
            Implementation = new() { Description = "RehabRecords", Url = settings.FhirBase },
            Format = [Negotiation.Json, Negotiation.Xml],
            Rest = [rest],
        };
    }

    private static CapabilityStatement.ResourceComponent Resource(ResourceKind kind, SearchParameters parameters, IReadOnlyList<Operation> operations, DefinitionsPack definitions)
    {
        var resource = new CapabilityStatement.ResourceComponent
        {
            Type = kind.Type,
            Documentation = kind.Purpose,
            Versioning = CapabilityStatement.ResourceVersionPolicy.VersionedUpdate,
            ReadHistory = kind.Offers(Interactions.VersionRead),
            UpdateCreate = false,
            ConditionalCreate = kind.Offers(Interactions.Create),
            ConditionalRead = CapabilityStatement.ConditionalReadStatus.FullSupport,
            ConditionalUpdate = false,
            ConditionalDelete = CapabilityStatement.ConditionalDeleteStatus.NotSupported,
            ReferencePolicy = [CapabilityStatement.ReferenceHandlingPolicy.Literal],
            Interaction = [.. Codes.Where(c => kind.Offers(c.Interaction)).Select(c => new CapabilityStatement.ResourceInteractionComponent { Code = c.Code })],
            Operation = Offered(operations.Where(o => o.IsOfType(kind.Type))),
            SupportedProfile = [.. definitions.OwnProfiles(kind.Type).Select(p => p.Url).Order(StringComparer.Ordinal)],
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

    private static List<CapabilityStatement.OperationComponent> Offered(IEnumerable<Operation> operations) =>
        [.. operations.OrderBy(o => o.Name, StringComparer.Ordinal).Select(o => new CapabilityStatement.OperationComponent { Name = o.Name, Definition = o.Definition, Documentation = o.Documentation })];

    private static readonly (Interactions Interaction, CapabilityStatement.TypeRestfulInteraction Code)[] Codes =
    [
        (Interactions.Read, CapabilityStatement.TypeRestfulInteraction.Read),
        (Interactions.VersionRead, CapabilityStatement.TypeRestfulInteraction.Vread),
        (Interactions.Update, CapabilityStatement.TypeRestfulInteraction.Update),
        (Interactions.Delete, CapabilityStatement.TypeRestfulInteraction.Delete),
        (Interactions.History, CapabilityStatement.TypeRestfulInteraction.HistoryInstance),
        (Interactions.Create, CapabilityStatement.TypeRestfulInteraction.Create),
        (Interactions.Search, CapabilityStatement.TypeRestfulInteraction.SearchType),
    ];
}
