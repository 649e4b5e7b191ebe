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
            // A locked file cannot be read by others, so who holds it is told in a file beside it.
            File.WriteAllText(OwnerFile(folder), Environment.ProcessId.ToString(CultureInfo.InvariantCulture));
            return new FolderLock(file);
        }
        catch (IOException e)
        {
            throw new StoreUnusableException(
                $"The data folder {Path.GetFullPath(folder)} is in use{Owner(folder)}. Only one process may use it at a time: stop the other one, or choose another folder.", e);
        }
    }

    public void Dispose() => _file.Dispose();

    private static string OwnerFile(string folder) => Path.Combine(folder, "store.owner");

    private static string Owner(string folder)
    {
        try
        {
            return File.ReadAllText(OwnerFile(folder)) is { Length: > 0 } id ? $" by process {id}" : "";
        }
        catch (IOException)
        {
            return "";
        }
    }
}
