using System.Buffers;
using System.IO.Compression;
using System.IO.Pipelines;
using System.Runtime.CompilerServices;
using System.Security.Cryptography;

namespace RehabRecords.RecordExport;

/// <summary>
/// One file of a zip, read no further than it says it is long, so that nothing unpacks into more than was announced. Nothing is
/// ever written to a folder.
/// </summary>
internal sealed class ZipSource(ZipArchiveEntry entry, long most) : IAsyncDisposable
{
    private readonly IncrementalHash _hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
    private Stream? _stream;

    public long Bytes { get; private set; }

    public string Sha256 => Convert.ToHexStringLower(_hash.GetCurrentHash());

    /// <summary>The lines, without their ends. The memory is good until the next is asked for.</summary>
    /// <exception cref="InvalidDataException">A line is too long, the last has no end, or the zip is damaged.</exception>
    public async IAsyncEnumerable<ReadOnlyMemory<byte>> LinesAsync(int longest, [EnumeratorCancellation] CancellationToken ct)
    {
        var pipe = PipeReader.Create(new Counted(this, await OpenAsync(ct)), new StreamPipeReaderOptions(bufferSize: 64 * 1024));
        while (true)
        {
            var read = await pipe.ReadAsync(ct);
            var rest = read.Buffer;
            while (rest.PositionOf((byte)'\n') is { } end)
            {
                var line = rest.Slice(0, end);
                yield return line.IsSingleSegment ? line.First : line.ToArray();
                rest = rest.Slice(rest.GetPosition(1, end));
            }

            if (rest.Length > longest)
                throw new InvalidDataException($"a line is longer than {longest} bytes");
            if (read.IsCompleted)
            {
                if (rest.Length > 0)
                    throw new InvalidDataException("the last line has no end");
                yield break;
            }

            pipe.AdvanceTo(rest.Start, rest.End);
        }
    }

    public async Task<byte[]> AllAsync(CancellationToken ct)
    {
        using var all = new MemoryStream();
        await new Counted(this, await OpenAsync(ct)).CopyToAsync(all, ct);
        return all.ToArray();
    }

    public async Task ThroughAsync(CancellationToken ct) => await new Counted(this, await OpenAsync(ct)).CopyToAsync(Stream.Null, ct);

    public async ValueTask DisposeAsync()
    {
        if (_stream is not null)
            await _stream.DisposeAsync();
        _hash.Dispose();
    }

    private async Task<Stream> OpenAsync(CancellationToken ct) => _stream = await entry.OpenAsync(ct);

    private void Count(ReadOnlySpan<byte> read)
    {
        Bytes += read.Length;
        if (Bytes > most)
            throw new InvalidDataException($"it unpacks into more than the {most} bytes it should have");
        _hash.AppendData(read);
    }

    private sealed class Counted(ZipSource source, Stream inner) : Stream
    {
        public override bool CanRead => true;

        public override bool CanSeek => false;

        public override bool CanWrite => false;

        public override long Length => throw new NotSupportedException();

        public override long Position { get => source.Bytes; set => throw new NotSupportedException(); }

        public override async ValueTask<int> ReadAsync(Memory<byte> buffer, CancellationToken cancellationToken = default)
        {
            var read = await inner.ReadAsync(buffer, cancellationToken);
            source.Count(buffer.Span[..read]);
            return read;
        }

        public override int Read(byte[] buffer, int offset, int count)
        {
            var read = inner.Read(buffer, offset, count);
            source.Count(buffer.AsSpan(offset, read));
            return read;
        }

        public override void Flush()
        {
        }

        public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

        public override void SetLength(long value) => throw new NotSupportedException();

        public override void Write(byte[] buffer, int offset, int count) => throw new NotSupportedException();
    }
}
