using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.Net.Http.Headers;
using RehabRecords.Documents;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Printing;

namespace RehabRecords.Notes;

/// <summary>The forms in which a note or summary is read, by the Accept header.</summary>
internal static class NoteFormats
{
    public const string Json = "application/json";

    /// <summary>In order of preference when a caller takes several alike.</summary>
    private static readonly string[] Offered = [Json, "text/html", "text/plain", "application/fhir+json", "application/fhir+xml", Printer.MediaType];

    public static IResult NotOffered(HttpRequest request) =>
        TypedResults.Problem($"'{request.Headers.Accept}' is not offered here. Ask for {string.Join(", ", Offered)}.", statusCode: 406, title: "Not offered");

    /// <summary>Everything but <see cref="Json"/>, which is the caller's own.</summary>
    public static async Task<IResult> AnswerAsync(string format, Composition note, int version, HttpContext context, DocumentBuilder documents, CancellationToken ct)
    {
        switch (format)
        {
            case "text/html":
                var reads = context.RequestServices.GetRequiredService<Pages.Review.NoteReads>();
                return new RazorComponentResult<Pages.Review.PaperPage>(new { Model = await reads.OfAsync(note, NoteKind.Of(note), version, ct) });
            case "text/plain":
                return TypedResults.Text(NoteText.Of(note, NoteKind.Of(note)), "text/plain; charset=utf-8");
            case Printer.MediaType:
                return await context.RequestServices.GetRequiredService<PrintedNote>().AnswerAsync(note, version, context, ct);
            default:
                // What was signed is served as the very bytes that were signed; the signature is about the JSON.
                var signatures = context.RequestServices.GetRequiredService<SignatureCheck>();
                var frozen = note.Status is CompositionStatus.Final or CompositionStatus.Amended && await signatures.OfAsync(note.Id!, ct) is { } signature
                    ? await signatures.DocumentAsync(signature, ct) : null;
                if (format == "application/fhir+json")
                    return TypedResults.Bytes(frozen?.Json.ToArray() ?? ResourceWriter.Json(await documents.BuildAsync(note.Id!, version, ct)), "application/fhir+json; charset=utf-8");
                return TypedResults.Bytes(ResourceWriter.Xml(frozen is null ? await documents.BuildAsync(note.Id!, version, ct) : ResourceReader.Trusted<Bundle>(frozen.Json)), "application/fhir+xml; charset=utf-8");
        }
    }

    /// <summary>The offered type the caller likes best; JSON when it does not say; null when it takes none of ours.</summary>
    public static string? Wanted(HttpRequest request)
    {
        if (request.Headers.Accept.Count == 0)
            return Offered[0];
        var accepted = request.GetTypedHeaders().Accept;
        var best = from type in Offered
                   let quality = Quality(accepted, type)
                   where quality > 0
                   orderby quality descending
                   select type;
        return best.FirstOrDefault();
    }

    /// <summary>By the most specific range that covers the type, as HTTP says.</summary>
    private static double Quality(IEnumerable<MediaTypeHeaderValue> accepted, string type)
    {
        var offered = new MediaTypeHeaderValue(type);
        return accepted.Where(range => range.MatchesAllTypes || (range.MatchesAllSubTypes ? range.Type == offered.Type : range.MediaType == offered.MediaType))
            .OrderBy(range => range.MatchesAllTypes ? 2 : range.MatchesAllSubTypes ? 1 : 0)
            .Select(range => range.Quality ?? 1).FirstOrDefault();
    }
}
