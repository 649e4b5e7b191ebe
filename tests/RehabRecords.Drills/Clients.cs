using System.Diagnostics;
using System.IO.Compression;
using System.Net;
using System.Net.Sockets;
using System.Text;

namespace RehabRecords.Drills;

/// <summary>Clients that mean harm or are on a bad line, while others work.</summary>
internal static class Clients
{
    /// <summary>Connections that send a byte now and then and never come to an end.</summary>
    public static async Task<Finding> SlowAsync(int rounds, int seed)
    {
        using var backend = new Backend();
        await using var instance = await Instance.StartAsync(backend);
        await WorkAsync(instance, TimeSpan.FromSeconds(5));
        var before = await WorkAsync(instance, TimeSpan.FromSeconds(10));
        var (cut, sockets) = (0, new List<Socket>());
        for (var n = 0; n < rounds; n++)
            sockets.Add(await OpenAsync(instance, n % 2 == 0
                ? "GET /fhir/Patient HTTP/1.1\r\nHost: drill\r\nX-Slow: "
                : "POST /fhir/Patient HTTP/1.1\r\nHost: drill\r\nContent-Type: application/fhir+json\r\nContent-Length: 900000\r\n\r\n{"));
        var slow = sockets.Select(async socket =>
        {
            // For a minute a byte each second or two, as long as the other side lets it.
            for (var began = Stopwatch.GetTimestamp(); Stopwatch.GetElapsedTime(began) < TimeSpan.FromSeconds(60); await Task.Delay(1500))
            {
                if (await IsOpenAsync(socket))
                    continue;
                Interlocked.Increment(ref cut);
                return;
            }
        }).ToList();
        var during = await WorkAsync(instance, TimeSpan.FromSeconds(20));
        var live = await instance.StatusAsync("/health/live") == HttpStatusCode.OK;
        await Task.WhenAll(slow);
        sockets.ForEach(s => s.Dispose());
        return new Finding($"{rounds} connections that trickle", rounds, 0, 0,
            $"{cut} were cut within a minute; p99 of a create {before.P99:0} ms before, {during.P99:0} ms meanwhile; {during.Failed} of {during.Done} failed; seed {seed}",
            live && during.Failed == 0 && cut == rounds);
    }

    /// <summary>Bodies without end, packed and unpacked, and with a wrong length.</summary>
    public static async Task<Finding> HugeAsync(int rounds, int seed)
    {
        using var backend = new Backend();
        await using var instance = await Instance.StartAsync(backend);
        await WorkAsync(instance, TimeSpan.FromSeconds(3));
        var (idle, most, wrong) = (instance.ResidentMegabytes, 0L, new List<string>());
        using var until = new CancellationTokenSource();
        var watch = Task.Run(async () =>
        {
            for (; !until.IsCancellationRequested; await Task.Delay(20))
                most = Math.Max(most, instance.ResidentMegabytes);
        });
        for (var round = 0; round < rounds; round++)
            foreach (var (what, head, body) in Hostile(seed))
            {
                var (status, taken) = await SendAsync(instance, head, body);
                // Cut without an answer is well too: the other side was still sending.
                if (status is not (0 or 400 or 411 or 413 or 415) || taken > 64 << 20)
                    wrong.Add($"{what}: {status} after {taken >> 20} MB");
            }

        await until.CancelAsync();
        await watch;
        var live = await instance.StatusAsync("/health/live") == HttpStatusCode.OK;
        return new Finding("bodies without end", rounds, 0, 0, $"memory {idle} MB before, at most {most} MB; {(wrong.Count == 0 ? "all refused or cut" : string.Join(", ", wrong.Distinct()))}", live && wrong.Count == 0 && most - idle < 100);
    }

    private static IEnumerable<(string What, string Head, Func<Stream, Task> Body)> Hostile(int seed)
    {
        var block = new byte[1 << 20];
        Array.Fill(block, (byte)'x');
        async Task Endless(Stream to)
        {
            for (var n = 0; n < 1024; n++)
                await to.WriteAsync(block);
        }

        yield return ("a gigabyte with its length", Post("Content-Length: 1073741824"), Endless);
        yield return ("a gigabyte in chunks", Post("Transfer-Encoding: chunked"), async to =>
        {
            for (var n = 0; n < 1024; n++)
            {
                await to.WriteAsync("100000\r\n"u8.ToArray());
                await to.WriteAsync(block);
                await to.WriteAsync("\r\n"u8.ToArray());
            }
        }
        );
        yield return ("a length below what comes", Post("Content-Length: 10"), to => to.WriteAsync(Encoding.ASCII.GetBytes($"{{\"seed\":{seed}}}{new string('y', 1000)}")).AsTask());
        var bomb = Bomb();
        yield return ("a body that unpacks a thousandfold", Post($"Content-Encoding: gzip\r\nContent-Length: {bomb.Length}"), to => to.WriteAsync(bomb).AsTask());
    }

    private static string Post(string more) => $"POST /fhir/Patient HTTP/1.1\r\nHost: drill\r\nContent-Type: application/fhir+json\r\n{more}\r\n\r\n";

    private static byte[] Bomb()
    {
        using var packed = new MemoryStream();
        using (var gzip = new GZipStream(packed, CompressionLevel.SmallestSize, leaveOpen: true))
        {
            var spaces = new byte[1 << 20];
            Array.Fill(spaces, (byte)' ');
            for (var n = 0; n < 900; n++)
                gzip.Write(spaces);
        }

        return packed.ToArray();
    }

    /// <returns>The status, 0 when it was cut, and how much could be sent.</returns>
    private static async Task<(int Status, long Taken)> SendAsync(Instance instance, string head, Func<Stream, Task> body)
    {
        using var socket = await OpenAsync(instance, head);
        await using var stream = new Counting(new NetworkStream(socket));
        var answer = Task.Run(async () =>
        {
            var line = new byte[64];
            try
            {
                var read = await socket.ReceiveAsync(line);
                return read >= 12 && int.TryParse(Encoding.ASCII.GetString(line, 9, 3), out var status) ? status : 0;
            }
            catch (SocketException)
            {
                return 0;
            }
        });
        try
        {
            await body(stream);
        }
        catch (IOException)
        {
            // cut
        }

        return (await answer, stream.Written);
    }

    private static async Task<Socket> OpenAsync(Instance instance, string head)
    {
        var socket = new Socket(AddressFamily.InterNetwork, SocketType.Stream, ProtocolType.Tcp);
        await socket.ConnectAsync(IPAddress.Loopback, instance.Http.BaseAddress!.Port);
        await socket.SendAsync(Encoding.ASCII.GetBytes(head));
        return socket;
    }

    private static async Task<bool> IsOpenAsync(Socket socket)
    {
        try
        {
            if (socket.Poll(0, SelectMode.SelectRead) && (socket.Available == 0 || await socket.ReceiveAsync(new byte[4096]) >= 0))
                return false;
            await socket.SendAsync("a"u8.ToArray());
            return true;
        }
        catch (SocketException)
        {
            return false;
        }
    }

    private static async Task<(int Done, int Failed, double P99)> WorkAsync(Instance instance, TimeSpan time)
    {
        var (times, failed, began) = (new List<double>(), 0, Stopwatch.GetTimestamp());
        await Task.WhenAll(Enumerable.Range(0, 4).Select(async client =>
        {
            for (var n = 0; Stopwatch.GetElapsedTime(began) < time; n++)
            {
                var start = Stopwatch.GetTimestamp();
                using var body = new StringContent(Person.Observation(null, (client * 1_000_000) + n).ToJsonString(), Encoding.UTF8, "application/fhir+json");
                try
                {
                    using var answer = await instance.Http.PostAsync("/fhir/Observation", body);
                    if (!answer.IsSuccessStatusCode)
                        Interlocked.Increment(ref failed);
                }
                catch (Exception e) when (e is HttpRequestException or TaskCanceledException)
                {
                    Interlocked.Increment(ref failed);
                }

                lock (times)
                    times.Add(Stopwatch.GetElapsedTime(start).TotalMilliseconds);
            }
        }));
        times.Sort();
        return (times.Count, failed, times[(int)(times.Count * 0.99)]);
    }

    /// <summary>Counts what went through.</summary>
    private sealed class Counting(Stream inner) : Stream
    {
        public long Written { get; private set; }

        public override bool CanRead => false;

        public override bool CanSeek => false;

        public override bool CanWrite => true;

        public override long Length => throw new NotSupportedException();

        public override long Position { get => Written; set => throw new NotSupportedException(); }

        public override async ValueTask WriteAsync(ReadOnlyMemory<byte> buffer, CancellationToken cancellationToken = default)
        {
            await inner.WriteAsync(buffer, cancellationToken);
            Written += buffer.Length;
        }

        public override void Flush()
        {
        }

        public override int Read(byte[] buffer, int offset, int count) => throw new NotSupportedException();

        public override long Seek(long offset, SeekOrigin origin) => throw new NotSupportedException();

        public override void SetLength(long value) => throw new NotSupportedException();

        public override void Write(byte[] buffer, int offset, int count) => inner.Write(buffer, offset, count);

        protected override void Dispose(bool disposing)
        {
            if (disposing)
                inner.Dispose();
            base.Dispose(disposing);
        }
    }
}
