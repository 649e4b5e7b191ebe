using System.Text.Json;
using System.Threading.Channels;

namespace RehabRecords.Audit;

/// <summary>
/// Where accesses are noted before they are answered: a file that is only appended to and forced to the disk, many
/// requests at a time. From there they become AuditEvents a moment later; a file whose accesses all are events is deleted.
/// </summary>
internal sealed class AccessJournal : IAsyncDisposable
{
    private const int MostAtOnce = 1024;

    private readonly string _folder;
    private readonly Channel<(byte[] Line, TaskCompletionSource Done)> _waiting = Channel.CreateBounded<(byte[], TaskCompletionSource)>(
        new BoundedChannelOptions(8 * MostAtOnce) { SingleReader = true });

    private readonly SemaphoreSlim _file = new(1, 1);
    private readonly Task _writing;
    private FileStream? _open;

    public AccessJournal(string folder)
    {
        _folder = folder;
        Directory.CreateDirectory(folder);
        _writing = Task.Run(WriteAsync);
    }

    /// <summary>Done when it is on the disk.</summary>
    public async Task NoteAsync(NotedAccess access, CancellationToken ct)
    {
        var done = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);
        await _waiting.Writer.WriteAsync((JsonSerializer.SerializeToUtf8Bytes(access, NotedAccessJson.Default.NotedAccess), done), ct);
        await done.Task;
    }

    /// <summary>The files that are complete, oldest first; what comes from now on goes into another.</summary>
    public async Task<IReadOnlyList<string>> CompleteAsync()
    {
        await _file.WaitAsync();
        try
        {
            if (_open is not null)
                await _open.DisposeAsync();
            _open = null;
            return [.. Directory.EnumerateFiles(_folder, "*.ndjson").Order(StringComparer.Ordinal)];
        }
        finally
        {
            _file.Release();
        }
    }

    /// <summary>Accesses of a file. The last line may be cut off by the end of a process: then it was never answered.</summary>
    public static IEnumerable<NotedAccess> Read(string path)
    {
        foreach (var line in File.ReadLines(path))
        {
            NotedAccess? access = null;
            try
            {
                access = JsonSerializer.Deserialize(line, NotedAccessJson.Default.NotedAccess);
            }
            catch (JsonException)
            {
            }

            if (access is not null)
                yield return access;
        }
    }

    public async ValueTask DisposeAsync()
    {
        _waiting.Writer.TryComplete();
        await _writing;
        if (_open is not null)
            await _open.DisposeAsync();
        _file.Dispose();
    }

    private async Task WriteAsync()
    {
        var batch = new List<(byte[] Line, TaskCompletionSource Done)>();
        while (await _waiting.Reader.WaitToReadAsync())
        {
            batch.Clear();
            while (batch.Count < MostAtOnce && _waiting.Reader.TryRead(out var one))
                batch.Add(one);
            await _file.WaitAsync();
            try
            {
                _open ??= new FileStream(Path.Combine(_folder, Guid.CreateVersion7().ToString("N") + ".ndjson"), FileMode.CreateNew, FileAccess.Write, FileShare.Read, 256 * 1024);
                foreach (var (line, _) in batch)
                {
                    _open.Write(line);
                    _open.WriteByte((byte)'\n');
                }

                _open.Flush(flushToDisk: true);
                batch.ForEach(static b => b.Done.SetResult());
            }
            catch (Exception failure)
            {
                // Whoever waits is told: what cannot be noted is not answered.
                batch.ForEach(b => b.Done.SetException(failure));
            }
            finally
            {
                _file.Release();
            }
        }
    }
}
