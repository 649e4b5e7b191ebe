using Microsoft.AspNetCore.Components;
using Microsoft.AspNetCore.Components.Web;
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
        var pdf = await printer.PrintAsync(PrintedPage.Of(await RenderAsync<TSheet>(sheet), marks), ct);
        context.Response.Headers.ContentDisposition = new ContentDispositionHeaderValue("inline") { FileName = $"{what.ToLowerInvariant().Replace(' ', '-')}-{programme}.pdf" }.ToString();
        return TypedResults.Bytes(pdf, Printer.MediaType);
    }

    private async Task<string> RenderAsync<TSheet>(SheetView sheet)
        where TSheet : IComponent
    {
        await using var scope = services.CreateAsyncScope();
        await using var renderer = new HtmlRenderer(scope.ServiceProvider, loggers);
        return await renderer.Dispatcher.InvokeAsync(async () =>
            (await renderer.RenderComponentAsync<TSheet>(ParameterView.FromDictionary(new Dictionary<string, object?> { ["Model"] = sheet }))).ToHtmlString());
    }
}
