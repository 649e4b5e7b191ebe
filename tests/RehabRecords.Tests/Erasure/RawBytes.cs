using System.Diagnostics;
using System.Text;
using Npgsql;

namespace RehabRecords.Tests.Erasure;

/// <summary>The very bytes in which an engine keeps a store, and how often marks are found in them.</summary>
internal static class RawBytes
{
    /// <summary>Marks found, as they are, folded to small letters, and in base64 at each of its three places.</summary>
    public static Dictionary<string, int> Find(IReadOnlyList<string> marks, params IEnumerable<byte[]> places)
    {
        var all = places.ToList();
        return marks.ToDictionary(m => m, m => Forms(m).Sum(form => all.Sum(place => Count(place, form))));
    }

    /// <summary>The database file and its log, or the heap, index and toast files of the schema with a dump of it.</summary>
    public static IEnumerable<byte[]> Of(string folder) => TestEngine.IsPostgresql ? [.. Relations(folder), Dump(folder)] : Directory.EnumerateFiles(folder, "records.db*").Select(Read);

    public static byte[] Read(string path)
    {
        using var file = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.ReadWrite | FileShare.Delete);
        var bytes = new byte[file.Length];
        file.ReadExactly(bytes);
        return bytes;
    }

    private static IEnumerable<byte[]> Forms(string mark)
    {
        foreach (var text in new[] { mark, mark.ToLowerInvariant() })
        {
            var bytes = Encoding.UTF8.GetBytes(text);
            yield return bytes;
            for (var before = 0; before < 3; before++)
            {
                var encoded = Convert.ToBase64String([.. new byte[before], .. bytes]);
                // Only letters that the mark alone decides.
                var (from, to) = (before == 0 ? 0 : before + 1, (before + bytes.Length) * 8 / 6);
                yield return Encoding.ASCII.GetBytes(encoded[from..to]);
            }
        }
    }

    private static int Count(ReadOnlySpan<byte> place, ReadOnlySpan<byte> form)
    {
        var count = 0;
        for (var at = place.IndexOf(form); at >= 0; at = place.IndexOf(form))
        {
            count++;
            place = place[(at + form.Length)..];
        }

        return count;
    }

    private static List<byte[]> Relations(string folder)
    {
        using var connection = new NpgsqlConnection(TestEngine.Connection + ";Pooling=false");
        connection.Open();
        using (var checkpoint = new NpgsqlCommand("CHECKPOINT", connection))
            checkpoint.ExecuteNonQuery();
        // Tables, indexes and what is kept beside them because it is long; of all the server what is left of them in statistics too.
        using var command = new NpgsqlCommand(
            $"WITH own AS (SELECT c.oid FROM pg_class c JOIN pg_namespace n ON n.oid=c.relnamespace WHERE n.nspname='{TestEngine.SchemaOf(folder)}') "
            + "SELECT pg_read_binary_file(pg_relation_filepath(c.oid)) FROM pg_class c WHERE c.relkind IN ('r', 'i', 't') AND pg_relation_filepath(c.oid) IS NOT NULL AND (c.oid IN (SELECT oid FROM own) "
            + "OR c.oid IN (SELECT t.reltoastrelid FROM pg_class t JOIN own ON own.oid=t.oid) OR c.oid IN (SELECT i.indexrelid FROM pg_index i JOIN pg_class t ON t.reltoastrelid=i.indrelid JOIN own ON own.oid=t.oid))",
            connection);
        using var reader = command.ExecuteReader();
        var files = new List<byte[]>();
        while (reader.Read())
            files.Add(reader.GetFieldValue<byte[]>(0));
        return files;
    }

    /// <summary>Tried a few times: while other tests drop their schemas the program may stumble over what it had listed.</summary>
    private static byte[] Dump(string folder)
    {
        for (var tries = 1; ; tries++)
        {
            try
            {
                return DumpOnce(folder);
            }
            catch (InvalidOperationException) when (tries < 10)
            {
                Thread.Sleep(500);
            }
        }
    }

    private static byte[] DumpOnce(string folder)
    {
        var settings = new NpgsqlConnectionStringBuilder(TestEngine.Connection);
        var program = Directory.EnumerateFiles("/usr/lib/postgresql", "pg_dump", SearchOption.AllDirectories).Order(StringComparer.Ordinal).Last();
        var start = new ProcessStartInfo(program, ["-h", settings.Host!, "-p", $"{settings.Port}", "-U", settings.Username!, "-n", TestEngine.SchemaOf(folder), settings.Database!]) { RedirectStandardOutput = true, RedirectStandardError = true };
        using var dump = Process.Start(start)!;
        using var held = new MemoryStream();
        var said = dump.StandardError.ReadToEndAsync();
        dump.StandardOutput.BaseStream.CopyTo(held);
        dump.WaitForExit();
        if (dump.ExitCode != 0)
            throw new InvalidOperationException($"pg_dump ended with {dump.ExitCode}: {said.GetAwaiter().GetResult()}");
        // Bytes are dumped as figures.
        var text = Encoding.ASCII.GetString(held.ToArray());
        foreach (System.Text.RegularExpressions.Match hex in System.Text.RegularExpressions.Regex.Matches(text, @"\\\\x([0-9a-f]{2,})"))
            held.Write(Convert.FromHexString(hex.Groups[1].Value));
        return held.ToArray();
    }
}
