using System.Diagnostics.Metrics;
using RehabRecords.Fhir;

namespace RehabRecords.Telemetry;

/// <summary>What is counted above the store.</summary>
internal static class Measured
{
    private static readonly Meter Meter = new(RecordMeter.Name);

    /// <summary>Times that something was worked out again, because the record it rested on was changed meanwhile.</summary>
    public static readonly Counter<long> MadeAgain = Meter.CreateCounter<long>(
        "rehabrecords.drafts.made_again", "{draft}", "Drafts and answers that were made again because the record changed while they were made.");
}
