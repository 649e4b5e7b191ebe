using Microsoft.AspNetCore.Server.Kestrel.Core;

namespace RehabRecords.Host;

/// <summary>Limits of the web server itself, so that slow or oversized callers cost little.</summary>
internal static class Kestrel
{
    public static void AddWebServer(this WebApplicationBuilder builder, Settings settings)
    {
        if (string.IsNullOrEmpty(builder.Configuration["urls"]))
            builder.WebHost.UseUrls(settings.PublicUrl);
        builder.WebHost.ConfigureKestrel(server =>
        {
            server.AddServerHeader = false;
            server.Limits.MaxRequestBodySize = settings.Limits.BodyBytes;
            server.Limits.MaxConcurrentConnections = settings.Limits.Connections;
            server.Limits.RequestHeadersTimeout = TimeSpan.FromSeconds(10);
            server.Limits.KeepAliveTimeout = TimeSpan.FromSeconds(60);
            server.Limits.MaxRequestHeaderCount = 64;
            server.Limits.MaxRequestHeadersTotalSize = 32 * 1024;
            server.Limits.MinRequestBodyDataRate = new MinDataRate(bytesPerSecond: 240, gracePeriod: TimeSpan.FromSeconds(5));
            server.Limits.MinResponseDataRate = new MinDataRate(bytesPerSecond: 240, gracePeriod: TimeSpan.FromSeconds(5));
        });
    }
}
