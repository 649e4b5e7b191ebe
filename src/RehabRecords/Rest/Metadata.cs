using System.Security.Cryptography;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;
using RehabRecords.Host;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Rest;

/// <summary>The CapabilityStatement, made from the same lists as the routes: the registry, the search parameters, the operations.</summary>
internal sealed class Metadata(
    ResourceRegistry registry, SearchParameters parameters, IEnumerable<Operation> operations, DefinitionsPack definitions, DefinitionSearch published, Settings settings, TimeProvider clock)
{
    /// <summary>What of R4 will not change any more; with mode=normative nothing else is told of.</summary>
    private static readonly string[] Normative =
        ["Binary", "Bundle", "CapabilityStatement", "CodeSystem", "Observation", "OperationDefinition", "Patient", "StructureDefinition", "ValueSet"];

    private readonly Lazy<Made> _full = new(() => Make(new MetadataResources(registry, parameters, [.. operations], definitions, published), settings, clock, _ => true));
    private readonly Lazy<Made> _normative = new(() => Make(new MetadataResources(registry, parameters, [.. operations], definitions, published), settings, clock, Normative.Contains));

    public static Task<IResult> AnswerAsync(Call call)
    {
        call.RefuseOtherQueryThan(["mode", .. Shown.Parameters]);
        var shown = Shown.OfOne("CapabilityStatement", call.Query(), call.Prefer.Lenient);
        var metadata = call.Need<Metadata>();
        var made = (call.Query().Find(q => q.Key == "mode").Value switch
        {
            null or "full" => metadata._full,
            "normative" => metadata._normative,
            _ => throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.NotSupported, "mode is 'full' or 'normative'; nothing else is offered.", "mode"),
        }).Value;
        call.Http.Response.Headers.ETag = made.ETag;
        return Task.FromResult<IResult>(call.Http.Request.Headers.IfNoneMatch.ToString() == made.ETag
            ? Results.StatusCode(StatusCodes.Status304NotModified)
            : new BodyResult(call, shown.Of(made.Json)));
    }

    private static Made Make(MetadataResources resources, Settings settings, TimeProvider clock, Func<string, bool> wanted)
    {
        var statement = Statement(resources, settings, wanted);
        // The tag changes with the content, not with the time at which the service was started.
        var tag = $"W/\"{Convert.ToHexStringLower(SHA256.HashData(ResourceWriter.Json(statement)))[..16]}\"";
        statement.DateElement = new FhirDateTime(clock.GetUtcNow());
        return new Made(ResourceWriter.Json(statement), tag);
    }

    private static CapabilityStatement Statement(MetadataResources resources, Settings settings, Func<string, bool> wanted) => new()
    {
        Status = PublicationStatus.Active,
        Kind = CapabilityStatementKind.Instance,
        FhirVersion = FHIRVersion.N4_0_1,
        Name = "RehabRecords",
        Title = "RehabRecords: home programmes for the arm and hand, their results and draft progress notes",
        Software = new() { Name = "RehabRecords", Version = typeof(Metadata).Assembly.GetName().Version!.ToString(3) },
        Implementation = new() { Description = "RehabRecords", Url = settings.FhirBase },
        Format = [Negotiation.Json, Negotiation.Xml],
        PatchFormat = resources.PatchFormats,
        Rest =
        [
            new()
            {
                Mode = CapabilityStatement.RestfulCapabilityMode.Server,
                Documentation = "Unknown search parameters are refused unless Prefer: handling=lenient is sent. Every update and deletion names the version it was made from (If-Match).",
                Interaction = [.. MetadataResources.SystemInteractions.Select(code => new CapabilityStatement.SystemInteractionComponent { Code = code })],
                Operation = resources.SystemOperations,
                Compartment = ["http://hl7.org/fhir/CompartmentDefinition/patient"],
                Resource = [.. resources.All.Where(r => wanted(r.Type!))],
            },
        ],
        Document = resources.Documents,
    };

    private sealed record Made(byte[] Json, string ETag);
}
