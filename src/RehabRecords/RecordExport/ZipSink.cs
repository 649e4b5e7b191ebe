using System.IO.Compression;
using System.Security.Cryptography;

namespace RehabRecords.RecordExport;

/// <summary>Writes files into a zip one after the other, straight through to the stream below, and keeps the digest of each.</summary>
internal sealed class ZipSink : IAsyncDisposable
{
    private readonly ZipArchive _zip;
    private readonly DateTimeOffset _at;

    private ZipSink(ZipArchive zip, DateTimeOffset at)
    {
        _zip = zip;
        _at = at;
    }

    public List<RecordFile> Files { get; } = [];

    public static async Task<ZipSink> OpenAsync(Stream to, DateTimeOffset at, CancellationToken ct) =>
        new(await ZipArchive.CreateAsync(to, ZipArchiveMode.Create, leaveOpen: true, entryNameEncoding: null, ct), at);

    /// <summary>The time of a zip entry has no zone and ends in 2107.</summary>
    public static DateTimeOffset TimeOf(DateTimeOffset at) => at.Year is < 1980 or > 2107 ? new DateTimeOffset(1980, 1, 1, 0, 0, 0, TimeSpan.Zero) : new DateTimeOffset(at.UtcDateTime, TimeSpan.Zero);

    public async Task<RecordFile> AddAsync(string path, Func<FileSink, Task> write, CancellationToken ct)
    {
        var entry = _zip.CreateEntry(path, CompressionLevel.Fastest);
        entry.LastWriteTime = TimeOf(_at);
        await using var stream = await entry.OpenAsync(ct);
        await using var file = new FileSink(stream);
        await write(file);
        var done = await file.CloseAsync(path, ct);
        Files.Add(done);
        return done;
    }

    public Task<RecordFile> AddAsync(string path, ReadOnlyMemory<byte> content, CancellationToken ct) =>
        AddAsync(path, async file => await file.WriteAsync(content, ct), ct);

    /// <summary>Writes the list of contents, without which a zip cannot be opened: so what was cut off before is never taken for whole.</summary>
    public ValueTask DisposeAsync() => _zip.DisposeAsync();
}

/// <summary>
/// One file that is being written: gathers small writes, counts, and hands what was gathered to another thread, which digests,
/// packs and sends it while the next is read from the store.
/// </summary>
internal sealed class FileSink(Stream to) : Stream
{
    private const int BufferSize = 64 * 1024;
    private readonly IncrementalHash _hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
    private byte[] _buffer = new byte[BufferSize];
    private byte[] _other = new byte[BufferSize];
    private Task _sending = Task.CompletedTask;
    private int _filled;
    private long _bytes;

    public long? Lines { get; set; }

    public long? Resources { get; set; }

    public override bool CanRead => false;

    public override bool CanSeek => false;

    public override bool CanWrite => true;

    public override long Length => throw new NotSupportedException();

    public override long Position { get => _bytes; set => throw new NotSupportedException(); }

    public override async ValueTask WriteAsync(ReadOnlyMemory<byte> bytes, CancellationToken cancellationToken = default)
    {
        _bytes += bytes.Length;
        while (bytes.Length > 0)
        {
            var part = Math.Min(bytes.Length, _buffer.Length - _filled);
            bytes.Span[..part].CopyTo(_buffer.AsSpan(_filled));
            _filled += part;
            bytes = bytes[part..];
            if (_filled == _buffer.Length)
                await SendAsync(cancellationToken);
        }
    }

    /// <summary>Writes one version and the end of its line.</summary>
    public async ValueTask WriteLineAsync(ReadOnlyMemory<byte> line, CancellationToken ct)
    {
        // Most lines fit: no task is made for them.
        if (line.Length + 1 > _buffer.Length - _filled)
        {
            await WriteAsync(line, ct);
            await WriteAsync("\n"u8.ToArray(), ct);
            return;
        }

        line.Span.CopyTo(_buffer.AsSpan(_filled));
        _filled += line.Length;
        _buffer[_filled++] = (byte)'\n';
        _bytes += line.Length + 1;
    }

    public async Task<RecordFile> CloseAsync(string path, CancellationToken ct)
    {
        await SendAsync(ct);
        await _sending;
        return new RecordFile(path, _bytes, Convert.ToHexStringLower(_hash.GetHashAndReset()), Lines, Resources);
    }

    public override void Flush()
    {
    }

    public override int Read(byte[] buffer, int offset, int count) => throw new NotSupportedException();

    public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

    public override void SetLength(long value) => throw new NotSupportedException();

    public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException("Written to asynchronously only.");

    /// <summary>Also after a failure nothing may still be sending when the stream below is closed.</summary>
    public override async ValueTask DisposeAsync()
    {
        await _sending.ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        _hash.Dispose();
        await base.DisposeAsync();
    }

    private async ValueTask SendAsync(CancellationToken ct)
    {
        await _sending;
        var full = _buffer.AsMemory(0, _filled);
        (_buffer, _other) = (_other, _buffer);
        _filled = 0;
        _sending = Task.Run(async () =>
        {
            _hash.AppendData(full.Span);
            await to.WriteAsync(full, ct);
        }, ct);
    }
}
