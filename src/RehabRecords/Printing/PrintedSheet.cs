using Microsoft.AspNetCore.Components;
using Microsoft.Net.Http.Headers;
using RehabRecords.Pages.Sheets;

namespace RehabRecords.Printing;

/// <summary>The sheets that go home, as PDF. They name the person as the sheet itself does: by given name.</summary>
internal sealed class PrintedSheet(IServiceProvider services, ILoggerFactory loggers, Printer printer)
{
    /// <summary>No word lies across a sheet: at a kitchen table the plain words at the top of each page must do, and they are the easiest to read.</summary>
    public async Task<IResult> AnswerAsync<TSheet>(string what, SheetView sheet, string programme, HttpContext context, CancellationToken ct)
        where TSheet : IComponent
    {
        var marks = new PageMarks($"{what}: {sheet.Person}", sheet.Draft ? "DRAFT, do not start" : sheet.OnHold ? "ON HOLD, do not start" : "", $"{sheet.Clinic.Name}{(sheet.Clinic.Phone.Length > 0 ? $" · {sheet.Clinic.Phone}" : "")}");
        var pdf = await printer.PrintAsync(PrintedPage.Of(await PrintedPage.RenderAsync<TSheet>(services, loggers, sheet), marks), ct);
        context.Response.Headers.ContentDisposition = new ContentDispositionHeaderValue("inline") { FileName = $"{what.ToLowerInvariant().Replace(' ', '-')}-{programme}.pdf" }.ToString();
        return TypedResults.Bytes(pdf, Printer.MediaType);
    }
}
