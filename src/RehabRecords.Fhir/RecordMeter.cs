using System.Diagnostics.Metrics;

namespace RehabRecords.Fhir;

/// <summary>What is measured of the record. No measurement names a person, a resource or an address.</summary>
public static class RecordMeter
{
    public const string Name = "RehabRecords";

    private static readonly Meter Meter = new(Name);

    private static readonly InstrumentAdvice<double> Seconds = new() { HistogramBucketBoundaries = [0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10] };

    /// <summary>By outcome: stored, repeated (answered from an earlier one), refused; and why.</summary>
    internal static readonly Counter<long> Writes = Meter.CreateCounter<long>("rehabrecords.writes", "{write}", "Sets of resources that were to be written, by what became of them.");

    internal static readonly UpDownCounter<long> Waiting = Meter.CreateUpDownCounter<long>("rehabrecords.writers.waiting", "{write}", "Writes that wait for their turn or are being committed.");

    internal static readonly Histogram<double> Commit = Meter.CreateHistogram("rehabrecords.commit.duration", "s", "Time of a durable commit, of one or many writes.", advice: Seconds);

    internal static readonly Histogram<double> Validation = Meter.CreateHistogram("rehabrecords.validation.duration", "s", "Time until a resource was validated, waiting for a core included.", advice: Seconds);
}
