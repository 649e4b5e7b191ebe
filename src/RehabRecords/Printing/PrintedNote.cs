using Hl7.Fhir.Model;
using Microsoft.Net.Http.Headers;
using RehabRecords.Documents;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Host;
using RehabRecords.Notes;
using RehabRecords.Pages.Review;
using RehabRecords.Progress;

namespace RehabRecords.Printing;

/// <summary>A note or summary as a PDF: what is signed from the frozen document, what is not with the word DRAFT on every page.</summary>
internal sealed class PrintedNote(
    IServiceProvider services, ILoggerFactory loggers, NoteReads reads, DocumentBuilder documents, SignatureCheck signatures, Printer printer, Settings settings, ClinicRules rules)
{
    private const string Styles = """
        body { font: 11pt/1.45 "DejaVu Serif", "Liberation Serif", Georgia, serif; }
        h1 { font-size: 15pt; margin-top: .5cm; } h2 { font-size: 12.5pt; margin-top: .7cm; break-after: avoid; }
        .draft::before { content: none; }
        dl { break-inside: avoid; } .urgent, .mark, .signature { break-inside: avoid; }
        figure { margin: .3cm 0 .6cm; break-inside: avoid; } h3 { font-size: 11pt; margin: .3cm 0 .1cm; } figcaption { font-size: 9.5pt; }
        svg.chart { display: block; width: 100%; max-width: 14cm; height: auto; }
        table { border-collapse: collapse; font-size: 9.5pt; } th, td { text-align: left; padding: .05cm .8cm .05cm 0; border-bottom: 1px solid #999; }
        .signature { border-top: 2px solid #1a1a1a; margin-top: 1cm; } .signature dd { overflow-wrap: anywhere; }
        """;

    public async Task<IResult> AnswerAsync(Composition note, int version, HttpContext context, CancellationToken ct)
    {
        var paper = context.Request.Query["paper"] == "letter" ? "letter" : "A4";
        var pdf = await printer.PrintAsync(await PageAsync(note, version, paper, ct), ct);
        var kind = NoteKind.Of(note).Name.Replace(' ', '-');
        // The name of the file lands in a folder of downloads: it names nobody.
        context.Response.Headers.ContentDisposition = new ContentDispositionHeaderValue("inline") { FileName = $"{kind}-{note.Id}-{version}.pdf" }.ToString();
        return TypedResults.Bytes(pdf, Printer.MediaType);
    }

    /// <summary>The page that is printed. Signed documents are read from the bytes that were signed, whatever the record says today.</summary>
    internal async Task<string> PageAsync(Composition note, int version, string paper, CancellationToken ct)
    {
        var signature = note.IsDraft() ? null : await signatures.OfAsync(note.Id!, ct);
        var frozen = signature is null ? null : await signatures.DocumentAsync(signature, ct);
        var document = frozen is null ? await documents.BuildAsync(note.Id!, version, ct) : ResourceReader.Trusted<Bundle>(frozen.Json);
        // Entered in error is said of the signed document, and does not stand in it.
        var shown = note.Status == CompositionStatus.EnteredInError ? note : (Composition)document.Entry[0].Resource!;
        var patient = document.Entry.Select(e => e.Resource).OfType<Patient>().First();
        var html = await PrintedPage.RenderAsync<PaperPage>(services, loggers, await reads.OfAsync(shown, NoteKind.Of(shown), version, ct));
        var more = PrintedCharts.Of(document, rules) + (frozen is null ? "" : Signature(shown, document, FrozenDocument.HashOf(frozen.Json.Span)));
        html = html.Replace("</main>", more + "</main>", StringComparison.Ordinal);
        return PrintedPage.Of(html, Marks(shown, patient, version), Styles + $"\n@page {{ size: {paper}; margin: 2.2cm 1.9cm 2cm; }}");
    }

    private static PageMarks Marks(Composition note, Patient patient, int version) => new(Who(note, patient), Standing(note), $"{note.Title}. Version {version} of {note.Id}.")
    {
        Across = note.IsDraft() ? "DRAFT" : note.Status == CompositionStatus.EnteredInError ? "IN ERROR" : null,
    };

    /// <summary>Name, birth date and number, by which a loose page finds back to its person.</summary>
    private static string Who(Composition note, Patient patient)
    {
        var born = DateOnly.TryParse(patient.BirthDate, out var day) ? $"born {Wording.Date(day)}" : null;
        var number = patient.Identifier.FirstOrDefault(i => i.Value is { Length: > 0 })?.Value;
        return string.Join(" · ", new[] { note.Subject?.Display, born, number }.OfType<string>());
    }

    private static string Standing(Composition note) => note.Status switch
    {
        CompositionStatus.EnteredInError => "ENTERED IN ERROR",
        CompositionStatus.Preliminary when note.Attester.Count > 0 => "DRAFT, awaits countersignature",
        CompositionStatus.Preliminary => "DRAFT, not signed",
        CompositionStatus.Amended => "Signed (amendment)",
        _ => "Signed",
    };

    private string Signature(Composition note, Bundle document, string hash) => $"""
        <section class="signature" aria-labelledby="signature">
        <h2 id="signature">Signature</h2>
        <dl class="facts">
        {string.Concat(note.Attester.Select((a, i) => $"<dt>{(i == 0 ? "Signed by" : "Countersigned by")}</dt><dd>{Prose.Encode($"{a.Party?.Display}, {When(a.Time)}")}</dd>\n"))}<dt>Document</dt><dd>{Prose.Encode(document.Identifier?.Value ?? "")}</dd>
        <dt>SHA-256</dt><dd>{hash}</dd>
        <dt>To be checked at</dt><dd>{Prose.Encode($"{settings.PublicUrl}/api/notes/{note.Id}/signature")}</dd>
        </dl>
        </section>

        """;

    private static string When(string? time) =>
        DateTimeOffset.TryParse(time, out var at) ? $"{Wording.Date(DateOnly.FromDateTime(at.DateTime))} at {at:HH:mm} ({(at.Offset == TimeSpan.Zero ? "UTC" : $"UTC{at:zzz}")})" : time ?? "";
}
