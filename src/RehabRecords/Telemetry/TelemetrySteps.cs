using OpenTelemetry.Exporter;
using OpenTelemetry.Metrics;
using OpenTelemetry.Resources;
using OpenTelemetry.Trace;
using RehabRecords.Fhir;
using RehabRecords.Host;

namespace RehabRecords.Telemetry;

/// <summary>What the service tells of its own working, and nothing about people: logs, and where a collector is set, measurements and traces.</summary>
internal static class TelemetrySteps
{
    // The last three are the framework's own: requests, connections, memory and threads.
    private static readonly string[] Meters = [RecordMeter.Name, "Microsoft.AspNetCore.Hosting", "Microsoft.AspNetCore.Server.Kestrel", "System.Runtime"];

    public static void AddTelemetry(this WebApplicationBuilder builder, Settings settings)
    {
        builder.Services.PostConfigure<LoggerFilterOptions>(QuietFramework.Apply);
        if (settings.Telemetry.Collector is not { } collector)
            return;
        var isGrpc = settings.Telemetry.Protocol == TelemetrySetting.Grpc;
        void Send(OtlpExporterOptions to, string signal)
        {
            to.Protocol = isGrpc ? OtlpExportProtocol.Grpc : OtlpExportProtocol.HttpProtobuf;
            to.Endpoint = isGrpc ? collector : new Uri($"{collector.AbsoluteUri.TrimEnd('/')}/v1/{signal}");
        }

        builder.Services.AddOpenTelemetry()
            .ConfigureResource(static resource => resource.AddService("rehabrecords", serviceVersion: typeof(TelemetrySteps).Assembly.GetName().Version?.ToString(3)))
            .WithTracing(traces => traces
                .AddAspNetCoreInstrumentation(static requests => requests.Filter = static context => !context.Request.Path.StartsWithSegments("/health", StringComparison.Ordinal))
                .AddProcessor(new RouteOnly())
                .AddOtlpExporter(to => Send(to, "traces")))
            .WithMetrics(metrics => metrics
                .AddMeter(Meters)
                .AddOtlpExporter((to, reader) =>
                {
                    Send(to, "metrics");
                    reader.PeriodicExportingMetricReaderOptions.ExportIntervalMilliseconds = settings.Telemetry.Seconds * 1000;
                }));
    }
}
