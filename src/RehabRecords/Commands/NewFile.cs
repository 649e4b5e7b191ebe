namespace RehabRecords.Commands;

/// <summary>A file that is there whole or not at all: it is written under another name, and gets its own when it is on the disk.</summary>
internal static class NewFile
{
    /// <exception cref="IOException">There is a file of that name already, or it cannot be written.</exception>
    public static async Task WriteAsync(string path, Func<FileStream, Task> write, CancellationToken ct)
    {
        if (File.Exists(path))
            throw new IOException($"{path} exists already; choose another name.");
        var partial = path + ".partial";
        try
        {
            await using (var file = new FileStream(partial, FileMode.Create, FileAccess.Write, FileShare.None, 128 * 1024, FileOptions.Asynchronous))
            {
                await write(file);
                await file.FlushAsync(ct);
                file.Flush(flushToDisk: true);
            }

            File.Move(partial, path, overwrite: false);
        }
        catch
        {
            File.Delete(partial);
            throw;
        }
    }
}
