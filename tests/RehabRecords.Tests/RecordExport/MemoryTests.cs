using RehabRecords.RecordExport;

namespace RehabRecords.Tests.RecordExport;

/// <summary>Alone, since memory is counted for the whole process.</summary>
[CollectionDefinition(Name, DisableParallelization = true)]
public sealed class Alone
{
    public const string Name = "alone";
}

[Collection(Alone.Name)]
public sealed class MemoryTests
{
    [Fact]
    public async Task A_record_sixteen_times_as_long_takes_no_more_memory()
    {
        await using var clinic = await ExportClinic.OpenAsync();
        var small = await LongRecord.FillAsync(clinic.Store, 500);
        var large = await LongRecord.FillAsync(clinic.Store, 8000);
        await PeakAsync(clinic, small);
        var (peakOfSmall, fewer) = await PeakAsync(clinic, small);
        var (peakOfLarge, more) = await PeakAsync(clinic, large);
        Assert.Equal((501, 8001), (fewer, more));
        Assert.InRange(peakOfLarge - peakOfSmall, long.MinValue, 1_000_000);
    }

    /// <summary>The most that is held at any time of an export, over what is held before it.</summary>
    private static async Task<(long Peak, long Versions)> PeakAsync(ExportClinic clinic, string person)
    {
        var before = GC.GetTotalMemory(forceFullCollection: true);
        using var export = await new ExportRecord(clinic.Store, new Host.Settings()).BeginAsync(person, default);
        long peak = 0;
        export.Progress = _ => peak = Math.Max(peak, GC.GetTotalMemory(forceFullCollection: true) - before);
        await export.WriteAsync(new Nowhere(), default);
        return (peak, export.Versions);
    }

    private sealed class Nowhere : MemoryStream
    {
        public override bool CanSeek => false;

        public override ValueTask WriteAsync(ReadOnlyMemory<byte> buffer, CancellationToken cancellationToken = default) => ValueTask.CompletedTask;

        public override void Write(byte[] buffer, int offset, int count)
        {
        }

        public override void Write(ReadOnlySpan<byte> buffer)
        {
        }
    }
}
