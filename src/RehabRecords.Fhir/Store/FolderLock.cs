using System.Globalization;

namespace RehabRecords.Fhir.Store;

/// <summary>Held as long as a process uses a data folder; the operating system lets go of it when the process ends, however it ends.</summary>
internal sealed class FolderLock : IDisposable
{
    private readonly FileStream _file;

    private FolderLock(FileStream file) => _file = file;

    public static FolderLock Take(string folder)
    {
        var path = Path.Combine(folder, "store.lock");
        try
        {
            var file = new FileStream(path, FileMode.OpenOrCreate, FileAccess.ReadWrite, FileShare.None);
            file.SetLength(0);
            file.Write(System.Text.Encoding.UTF8.GetBytes(Environment.ProcessId.ToString(CultureInfo.InvariantCulture)));
            file.Flush();
            return new FolderLock(file);
        }
        catch (IOException e)
        {
            throw new StoreUnusableException(
                $"The data folder {Path.GetFullPath(folder)} is in use{Holder(path)}. Only one process may use it at a time: stop the other one, or choose another folder.", e);
        }
    }

    public void Dispose() => _file.Dispose();

    private static string Holder(string path)
    {
        try
        {
            using var reader = new StreamReader(new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.ReadWrite | FileShare.Delete));
            return reader.ReadToEnd() is { Length: > 0 } id ? $" by process {id}" : "";
        }
        catch (IOException)
        {
            return "";
        }
    }
}
