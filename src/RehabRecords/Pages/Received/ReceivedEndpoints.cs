using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Exchange;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Received;

/// <summary>What another team sent: where from, when, and its own words.</summary>
/// <param name="Original">Address of the document as it came in, byte for byte.</param>
/// <param name="Versions">How many versions of the record came of it.</param>
public sealed record ReceivedView(string Id, string Person, string Sender, DateTimeOffset? At, string Original, int Versions, bool HasWords);

internal static class ReceivedEndpoints
{
    public const string Path = "/received";

    /// <summary>Ends the address of the page in the frame.</summary>
    public const string Words = "words";

    public static void MapReceived(this IEndpointRouteBuilder routes)
    {
        var received = routes.MapGroup(Path + "/{id}");
        received.MapGet("", async (string id, RecordStore store, CancellationToken ct) =>
        {
            var (provenance, document, person) = await ReadAsync(id, store, ct);
            return new RazorComponentResult<ReceivedPage>(new
            {
                Model = new ReceivedView(id, person, Sender(provenance), provenance.Recorded, provenance.Entity[0].What.Reference!, provenance.Target.Count, ForeignText.Of(document).Count > 0),
            });
        });
        received.MapGet(Words, async (string id, RecordStore store, CancellationToken ct) =>
            TypedResults.Content(ForeignText.Page(ForeignText.Of((await ReadAsync(id, store, ct)).Document)), "text/html; charset=utf-8"));
    }

    /// <summary>What was taken in of a person, the latest first.</summary>
    public static async Task<IReadOnlyList<ReceivedLine>> OfPersonAsync(RecordStore store, string person, IEnumerable<string> programmes, CancellationToken ct)
    {
        var targets = string.Join(',', programmes.Select(p => $"CarePlan/{p}").Prepend($"Patient/{person}"));
        return [.. (await store.FindAllAsync<Provenance>($"target={targets}", ct)).Where(ImportProvenance.IsOne).OrderByDescending(p => p.Recorded).ThenBy(p => p.Id, StringComparer.Ordinal)
            .Select(p => new ReceivedLine(p.Id!, Sender(p), p.Recorded))];
    }

    private static async Task<(Provenance Provenance, Bundle Document, string Person)> ReadAsync(string id, RecordStore store, CancellationToken ct)
    {
        var (provenance, _) = await store.RoutedAsync<Provenance>(id, "exchange", ct);
        if (!ImportProvenance.IsOne(provenance) || await store.GetAsync<Binary>(provenance.Entity[0].What.IdOf("Binary")!, ct) is not var (original, _))
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"'{Rules.Shown(id)}' is nothing that was taken in from another team; the page of a person lists what was.", "id");
        var format = original.ContentType?.Contains("xml", StringComparison.Ordinal) == true ? FhirFormat.Xml : FhirFormat.Json;
        // It was read and checked when it was taken in.
        return (provenance, (Bundle)ResourceReader.Read(original.Data!, format), original.SecurityContext.IdOf("Patient")!);
    }

    private static string Sender(Provenance provenance) => provenance.Agent[0].Who.Display ?? "a sender that is not named";
}

/// <summary>A document that was taken in.</summary>
public sealed record ReceivedLine(string Id, string Sender, DateTimeOffset? At);
