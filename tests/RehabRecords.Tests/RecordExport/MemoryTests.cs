using RehabRecords.RecordExport;

namespace RehabRecords.Tests.RecordExport;

/// <summary>Alone, since memory is counted for the whole process.</summary>
[CollectionDefinition("memory", DisableParallelization = true)]
public sealed class MemoryCollection;

[Collection("memory")]
public sealed class MemoryTests
{
    [Fact]
    public async Task A_record_of_twenty_thousand_resources_takes_no_more_memory_than_one_of_a_thousand()
    {
        await using var clinic = await ExportClinic.OpenAsync();
        var small = await LongRecord.FillAsync(clinic.Store, 1000);
        var large = await LongRecord.FillAsync(clinic.Store, 20_000);
        await PeakAsync(clinic, small);
        var (peakOfSmall, fewer) = await PeakAsync(clinic, small);
        var (peakOfLarge, more) = await PeakAsync(clinic, large);
        Assert.Equal((1001, 20_001), (fewer, more));
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
