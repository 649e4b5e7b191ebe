using System.Buffers.Binary;

namespace RehabRecords.RecordExport;

/// <summary>
/// The last bytes of a zip, read before anything else is: they say how many entries it has, and a reader that lists them all
/// first would be at the mercy of that number. It also tells a file that was cut off from one that is something else.
/// </summary>
internal static class ZipTail
{
    public const int MostEntries = 100_000;
    private const int Length = 22;
    private const int Zip64LocatorLength = 20;

    /// <summary>What is wrong with the end of the file; null when nothing is.</summary>
    public static string? Problem(Stream zip)
    {
        Span<byte> tail = stackalloc byte[Length];
        if (zip.Length < Length || !StartsAs(zip, "PK\u0003\u0004"u8))
            return "This is not a zip file.";
        ReadAt(zip, zip.Length - Length, tail);
        if (!tail.StartsWith("PK\u0005\u0006"u8) || BinaryPrimitives.ReadUInt16LittleEndian(tail[20..]) != 0)
            return "The file has no list of contents at its end: it was cut off while it was written or copied, or something was added to it.";
        var entries = (long)BinaryPrimitives.ReadUInt16LittleEndian(tail[10..]);
        if (entries == ushort.MaxValue && Zip64Entries(zip) is { } more)
            entries = more;
        return entries > MostEntries ? $"The zip has {entries} entries; a record has at most {MostEntries}." : null;
    }

    private static long? Zip64Entries(Stream zip)
    {
        if (zip.Length < Length + Zip64LocatorLength + 56)
            return null;
        Span<byte> locator = stackalloc byte[Zip64LocatorLength];
        ReadAt(zip, zip.Length - Length - Zip64LocatorLength, locator);
        var at = BinaryPrimitives.ReadInt64LittleEndian(locator[8..]);
        if (!locator.StartsWith("PK\u0006\u0007"u8) || at < 0 || at > zip.Length - 56)
            return null;
        Span<byte> record = stackalloc byte[56];
        ReadAt(zip, at, record);
        return record.StartsWith("PK\u0006\u0006"u8) ? (long)Math.Min(BinaryPrimitives.ReadUInt64LittleEndian(record[32..]), long.MaxValue) : null;
    }

    private static bool StartsAs(Stream zip, ReadOnlySpan<byte> mark)
    {
        Span<byte> start = stackalloc byte[4];
        ReadAt(zip, 0, start);
        return start.SequenceEqual(mark);
    }

    private static void ReadAt(Stream zip, long at, Span<byte> into)
    {
        zip.Position = at;
        zip.ReadExactly(into);
    }
}
