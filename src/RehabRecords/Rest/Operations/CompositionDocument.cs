using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Rest.Operations;

/// <summary>
/// Composition/[id]/$document: the frozen document of the current version if there is one, else a document made now.
/// It answers the document Bundle itself; R4 speaks of wrapping it into a searchset, which hardly any client expects.
/// </summary>
internal static class CompositionDocument
{
    public static Operation Operation { get; } =
        new("document", "http://hl7.org/fhir/OperationDefinition/Composition-document", Level.Type | Level.Instance, AnswerAsync)
        {
            Types = ["Composition"],
            Documentation = "Answers the document Bundle itself, not wrapped in a searchset. A stored document of the Composition's current version is given as it was frozen. "
                + "persist=true (POST only) stores the document at /Bundle; asked for again, it answers the same one. graph is not offered.",
        };

    private static async Task<IResult> AnswerAsync(Call call)
    {
        var arguments = await Arguments.ReadAsync(call, call.Http.Request.RouteValues.ContainsKey("id") ? ["persist"] : ["id", "persist"]);
        var id = call.Http.Request.RouteValues.ContainsKey("id") ? call.Id : IdOf(call, arguments.Once("id"));
        var persist = arguments.Truth("persist") ?? false;
        if (persist && !HttpMethods.IsPost(call.Http.Request.Method))
            throw new RefusedException(Refusal.NotAllowed, OperationOutcome.IssueType.NotSupported, "persist=true stores something, which a GET must not do; send it by POST.", "persist");

        var composition = await call.Need<Reads>().CurrentAsync("Composition", id, call.Ct);
        if (await FrozenAsync(call, composition) is { } frozen)
            return Stored(call, frozen);
        var document = await call.Need<DocumentBuilder>().BuildAsync(id, composition.Version, call.Ct);
        if (!persist)
            return new BodyResult(call, ResourceWriter.Json(document));

        var set = new WriteSet();
        set.Create(document);
        return Stored(call, (await call.Need<RecordWriter>().WriteAsync(set, call.Ct)).Written[0]);
    }

    private static async Task<RecordVersion?> FrozenAsync(Call call, RecordVersion composition)
    {
        var documents = await call.Need<RecordStore>().FindAsync("Bundle", $"type=document&composition={composition.Address}&_sort=-_lastUpdated", call.Ct);
        return documents.FirstOrDefault(d => ResourceReader.Trusted<Bundle>(d.Json).Entry[0].Resource?.Meta?.VersionId == $"{composition.Version}");
    }

    private static BodyResult Stored(Call call, RecordVersion document)
    {
        call.Http.Response.Headers.ContentLocation = call.Absolute(document.VersionedAddress);
        return new BodyResult(call, document.Json);
    }

    private static string IdOf(Call call, string? given)
    {
        if (given is null)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Required, "id is missing; name the Composition, such as id=Composition/[id], or call /fhir/Composition/[id]/$document.", "id");
        var own = given.StartsWith(call.Settings.FhirBase + "/", StringComparison.Ordinal) ? given[(call.Settings.FhirBase.Length + 1)..] : given;
        var id = own.StartsWith("Composition/", StringComparison.Ordinal) ? own["Composition/".Length..] : own;
        return Call.IsId(id) ? id : throw Arguments.Unreadable("id", given, "a Composition of this service, as its id or as Composition/[id]");
    }
}
