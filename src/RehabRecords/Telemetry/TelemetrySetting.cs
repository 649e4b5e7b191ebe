using RehabRecords.Host;

namespace RehabRecords.Telemetry;

/// <summary>Where measurements and traces are sent.</summary>
public sealed class TelemetrySetting
{
    public const string Grpc = "grpc";
    public const string HttpProtobuf = "http/protobuf";

    /// <summary>Address of an OpenTelemetry collector; nothing is measured or sent without one.</summary>
    public string? Endpoint { get; set; }

    /// <summary>How it is spoken to: <see cref="Grpc"/> or <see cref="HttpProtobuf"/>.</summary>
    public string Protocol { get; set; } = Grpc;

    /// <summary>Seconds between two sendings of measurements, 1 to 3600.</summary>
    public int Seconds { get; set; } = 60;

    internal Uri? Collector => string.IsNullOrWhiteSpace(Endpoint) ? null : new Uri(Endpoint);

    public void Check()
    {
        if (!string.IsNullOrWhiteSpace(Endpoint) && (!Uri.TryCreate(Endpoint, UriKind.Absolute, out var address) || address.Scheme is not ("http" or "https")))
            throw new InvalidOperationException($"Setting {Settings.Section}:Telemetry:Endpoint is no http or https address; give one such as http://127.0.0.1:4317, or leave it out.");
        if (Collector is { UserInfo.Length: > 0 })
            throw new InvalidOperationException($"Setting {Settings.Section}:Telemetry:Endpoint holds a name or password; give the collector's headers in the environment as OTEL_EXPORTER_OTLP_HEADERS.");
        if (Protocol is not (Grpc or HttpProtobuf))
            throw new InvalidOperationException($"Setting {Settings.Section}:Telemetry:Protocol is '{Protocol}'; give {Grpc} or {HttpProtobuf}.");
        if (Seconds is < 1 or > 3600)
            throw new InvalidOperationException($"Setting {Settings.Section}:Telemetry:Seconds is {Seconds}; give 1 to 3600.");
    }
}
