using System.Globalization;
using System.Text;
using System.Text.RegularExpressions;

namespace RehabRecords.Drills;

/// <summary>What a process did to a file: wrote at a place, synced, cut it to a length, or deleted it.</summary>
/// <param name="At">Seconds since 1970, when the call was made.</param>
/// <param name="File">The end of its name after that of the database: "", "-wal".</param>
/// <param name="Place">Of the bytes; with no bytes the new length; -1 for a sync, -2 for a deletion.</param>
internal sealed record Step(double At, string File, long Place, byte[]? Bytes);

/// <summary>Reads what strace wrote down.</summary>
internal static partial class Recording
{
    private const long Sync = -1;
    private const long Gone = -2;

    public static IReadOnlyList<Step> Read(string trace, string database)
    {
        var steps = new List<Step>();
        var open = new Dictionary<string, string>(StringComparer.Ordinal);
        foreach (var raw in File.ReadLines(trace))
        {
            var line = raw;
            var thread = line[..line.IndexOf(' ', StringComparison.Ordinal)];
            // A call during which another thread made one stands on two lines; it counts from when it was over.
            if (line.EndsWith("<unfinished ...>", StringComparison.Ordinal))
            {
                open[thread] = line[..^"<unfinished ...>".Length];
                continue;
            }

            if (Resumed().Match(line) is { Success: true } resumed && open.Remove(thread, out var begun))
                line = begun + line[(resumed.Index + resumed.Length)..];
            if (Of(line, database) is { } step)
                steps.Add(step);
        }

        return steps.Count > 0 ? steps : throw new InvalidOperationException($"Nothing about {database} was recorded.");
    }

    private static Step? Of(string line, string database)
    {
        // A call that failed, or had not returned when the recording ended, did nothing.
        if (Call().Match(line) is not { Success: true } call || !Returned().IsMatch(line))
            return null;
        var at = double.Parse(call.Groups["at"].Value, CultureInfo.InvariantCulture);
        var path = Encoding.UTF8.GetString(Bytes(call.Groups["path"].Value));
        var suffix = path.StartsWith(database, StringComparison.Ordinal) ? path[database.Length..] : null;
        if (suffix is not ("" or "-wal" or "-journal"))
            return null;
        var rest = call.Groups["rest"].Value;
        return call.Groups["name"].Value switch
        {
            "pwrite64" => Written(at, suffix, rest),
            "fsync" or "fdatasync" => new Step(at, suffix, Sync, null),
            "ftruncate" => new Step(at, suffix, long.Parse(Number().Match(rest).Value, CultureInfo.InvariantCulture), null),
            "unlink" => new Step(at, suffix, Gone, null),
            _ => throw new InvalidOperationException($"{call.Groups["name"].Value} on {path} is not understood: a write would be missed."),
        };
    }

    private static Step Written(double at, string suffix, string rest)
    {
        var write = Data().Match(rest);
        return write.Success
            ? new Step(at, suffix, long.Parse(write.Groups["place"].Value, CultureInfo.InvariantCulture), Bytes(write.Groups["data"].Value))
            : throw new InvalidOperationException("A write was recorded in part.");
    }

    /// <summary>strace writes a byte as \x41; a path may stand there plainly.</summary>
    private static byte[] Bytes(string text)
    {
        if (!text.StartsWith("\\x", StringComparison.Ordinal))
            return Encoding.UTF8.GetBytes(text);
        return Convert.FromHexString(text.Replace("\\x", "", StringComparison.Ordinal));
    }

    [GeneratedRegex(@"^\d+ +(?<at>[\d.]+) (?<name>pwrite64|write|fsync|fdatasync|ftruncate|unlink)\((?:\d+<(?<path>[^>]*)>|""(?<path>[^""]*)"")(?<rest>.*)$", RegexOptions.ExplicitCapture)]
    private static partial Regex Call();

    [GeneratedRegex(@"\) += \d+(?:<[^>]*>)?$")]
    private static partial Regex Returned();

    [GeneratedRegex(@"<\.\.\. \w+ resumed>")]
    private static partial Regex Resumed();

    [GeneratedRegex(@"^, ""(?<data>[^""]*)"", \d+, (?<place>\d+) ?\)", RegexOptions.ExplicitCapture)]
    private static partial Regex Data();

    [GeneratedRegex(@"\d+")]
    private static partial Regex Number();
}
