using System.Formats.Tar;
using System.IO.Compression;
using System.Text;

namespace RehabRecords.Fhir.Packages;

/// <summary>
/// Unpacks a FHIR package (.tgz) in memory. Nothing is ever written under a name the archive gives, and a name or an entry
/// that would matter if it were (a way out of the folder, a link, a device) makes the whole archive refused.
/// </summary>
internal static class PackageArchive
{
    private const int Block = 512;

    // What tar itself writes of a name or attribute; TarReader reads such an entry whole, whatever size it claims.
    private const int MaxExtendedHeader = 64 << 10;

    /// <summary>The JSON files directly in the folder "package", by name.</summary>
    /// <exception cref="PackageUnusableException">It is no package, is over a limit, or holds what a package never holds.</exception>
    public static IReadOnlyDictionary<string, byte[]> Read(string file, ReadOnlyMemory<byte> tgz, PackageLimits limits)
    {
        if (tgz.Length > limits.MaxFileBytes)
            throw Refused(file, $"has {tgz.Length} bytes; at most {limits.MaxFileBytes} are read");
        using var tar = Unpack(file, tgz, limits);
        CheckHeaders(file, tar.GetBuffer().AsSpan(0, (int)tar.Length), limits);
        try
        {
            return Files(file, tar, limits);
        }
        // The archive is known to be bounded by now; whatever else is wrong with it is told as what it is.
        catch (Exception e) when (e is InvalidDataException or EndOfStreamException or FormatException or ArgumentException or OverflowException or NotSupportedException or IOException)
        {
            throw new PackageUnusableException($"The package {file} is not a tar archive: {e.Message}", e);
        }
    }

    private static MemoryStream Unpack(string file, ReadOnlyMemory<byte> tgz, PackageLimits limits)
    {
        // A small file may be mostly header, so the ratio counts from a megabyte on.
        var most = Math.Min(limits.MaxUnpackedBytes, Math.Max(1L << 20, (long)tgz.Length * limits.MaxRatio));
        var tar = new MemoryStream((int)Math.Min(most, tgz.Length * 8L));
        try
        {
            using var gzip = new GZipStream(new MemoryStream(tgz.ToArray(), writable: false), CompressionMode.Decompress);
            var buffer = new byte[81_920];
            int read;
            while ((read = gzip.Read(buffer)) > 0)
            {
                if (tar.Length + read > most)
                    throw Refused(file, $"unpacks to more than {most} bytes, which no package of its size does");
                tar.Write(buffer, 0, read);
            }
        }
        catch (InvalidDataException e)
        {
            throw new PackageUnusableException($"The package {file} is not a gzip file: {e.Message} Fetch it again.", e);
        }

        tar.Position = 0;
        return tar;
    }

    private static void CheckHeaders(string file, ReadOnlySpan<byte> tar, PackageLimits limits)
    {
        var entries = 0;
        for (var at = 0L; at + Block <= tar.Length;)
        {
            var header = tar.Slice((int)at, Block);
            if (header[0] == 0)
                break;
            var size = Size(header.Slice(124, 12));
            if (size < 0 || size > tar.Length - at - Block)
                throw Refused(file, "has an entry that is longer than the archive; fetch it again");
            if (header[156] is (byte)'x' or (byte)'g' or (byte)'L' or (byte)'K' && size > MaxExtendedHeader)
                throw Refused(file, $"has a name or attributes of {size} bytes");
            if (size > limits.MaxEntryBytes)
                throw Refused(file, $"has a file of {size} bytes; at most {limits.MaxEntryBytes} are read");
            if (++entries > limits.MaxEntries)
                throw Refused(file, $"has more than {limits.MaxEntries} entries");
            at += Block + ((size + Block - 1) / Block * Block);
        }
    }

    private static Dictionary<string, byte[]> Files(string file, MemoryStream tar, PackageLimits limits)
    {
        var found = new Dictionary<string, byte[]>(StringComparer.Ordinal);
        var names = new HashSet<string>(StringComparer.OrdinalIgnoreCase);
        using var reader = new TarReader(tar);
        while (reader.GetNextEntry() is { } entry)
        {
            if (entry.EntryType is TarEntryType.Directory or TarEntryType.DirectoryList or TarEntryType.GlobalExtendedAttributes)
                continue;
            if (entry.EntryType is not (TarEntryType.RegularFile or TarEntryType.V7RegularFile or TarEntryType.ContiguousFile))
                throw Refused(file, $"has a {entry.EntryType} named '{Shown(entry.Name)}'; a package holds files only");
            if (!IsInside(entry.Name))
                throw Refused(file, $"has a file named '{Shown(entry.Name)}', which leads out of the package");
            if (!names.Add(entry.Name))
                throw Refused(file, $"has two files named '{Shown(entry.Name)}'");
            if (entry.Length > limits.MaxEntryBytes)
                throw Refused(file, $"has a file of {entry.Length} bytes; at most {limits.MaxEntryBytes} are read");
            if (entry.Name.Split('/') is ["package", var name] && name.EndsWith(".json", StringComparison.Ordinal) && !name.StartsWith('.'))
                found.Add(name, Bytes(entry));
        }

        return found;
    }

    private static byte[] Bytes(TarEntry entry)
    {
        if (entry.DataStream is not { } data)
            return [];
        var bytes = new byte[entry.Length];
        data.ReadExactly(bytes);
        return bytes;
    }

    private static bool IsInside(string name) =>
        name.Length is > 0 and <= 1024 && name[0] != '/' && !name.AsSpan().ContainsAny('\\', ':', '\0') && !name.Split('/').Contains("..");

    private static string Shown(string name)
    {
        var shown = new StringBuilder();
        foreach (var c in name.AsSpan(0, Math.Min(name.Length, 100)))
            shown.Append(char.IsControl(c) ? '?' : c);
        return shown.ToString();
    }

    // Octal digits, or for what is larger than they can say, a number with the first bit set: larger than any limit here.
    private static long Size(ReadOnlySpan<byte> field)
    {
        if ((field[0] & 0x80) != 0)
            return long.MaxValue;
        var size = 0L;
        foreach (var b in field)
        {
            if (b is 0 or (byte)' ')
            {
                if (size > 0)
                    break;
                continue;
            }

            if (b is < (byte)'0' or > (byte)'7')
                return -1;
            size = (size * 8) + (b - '0');
        }

        return size;
    }

    private static PackageUnusableException Refused(string file, string what) => new($"The package {file} {what}. Take it out of the packages folder, or put a sound copy in its place.");
}
