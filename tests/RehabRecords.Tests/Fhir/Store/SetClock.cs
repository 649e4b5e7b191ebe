namespace RehabRecords.Tests.Fhir.Store;

/// <summary>A clock that stands where it is put.</summary>
internal sealed class SetClock(DateTimeOffset now) : TimeProvider
{
    public DateTimeOffset Now { get; set; } = now;

    public override DateTimeOffset GetUtcNow() => Now;
}
