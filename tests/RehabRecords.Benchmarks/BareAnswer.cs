using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Logging;

namespace RehabRecords.Benchmarks;

/// <summary>The same web server with nothing behind it: what it was sent comes back. A process of its own, like the service.</summary>
internal static class BareAnswer
{
    public static async Task RunAsync(string[] args, byte[] body)
    {
        var builder = WebApplication.CreateSlimBuilder(args);
        builder.Logging.ClearProviders();
        var app = builder.Build();
        app.MapGet("/bytes", context => AnswerAsync(context, body));
        app.MapPost("/bytes", async context =>
        {
            using var sent = new MemoryStream();
            await context.Request.Body.CopyToAsync(sent);
            await AnswerAsync(context, sent.ToArray());
        });
        await app.RunAsync();
    }

    private static Task AnswerAsync(HttpContext context, byte[] bytes)
    {
        context.Response.ContentType = "application/fhir+json";
        context.Response.ContentLength = bytes.Length;
        return context.Response.Body.WriteAsync(bytes, 0, bytes.Length);
    }
}
