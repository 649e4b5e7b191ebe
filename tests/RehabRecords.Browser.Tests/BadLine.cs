using System.Net;
using System.Net.Sockets;

namespace RehabRecords.Browser.Tests;

/// <summary>
/// The line between a telephone and the service, which can be cut at the worst moment: after a report has arrived, and
/// before the answer has.
/// </summary>
internal sealed class BadLine : IAsyncDisposable
{
    private readonly TcpListener _listener = new(IPAddress.Loopback, 0);
    private readonly CancellationTokenSource _end = new();
    private readonly Uri _service;
    private readonly Task _accepting;
    private int _cut;

    public BadLine(Uri service)
    {
        _service = service;
        _listener.Start();
        _accepting = AcceptAsync();
    }

    public Uri Address => new($"http://127.0.0.1:{((IPEndPoint)_listener.LocalEndpoint).Port}/");

    /// <summary>Whether the answer to what is posted gets lost.</summary>
    public bool CutsAnswers { get; set; }

    /// <summary>Answers that were lost.</summary>
    public int Cut => _cut;

    public async ValueTask DisposeAsync()
    {
        await _end.CancelAsync();
        _listener.Stop();
        await _accepting;
        _end.Dispose();
    }

    private async Task AcceptAsync()
    {
        var carried = new List<Task>();
        try
        {
            while (true)
                carried.Add(CarryAsync(await _listener.AcceptTcpClientAsync(_end.Token)));
        }
        catch (Exception e) when (e is OperationCanceledException or SocketException or ObjectDisposedException)
        {
            await Task.WhenAll(carried);
        }
    }

    private async Task CarryAsync(TcpClient telephone)
    {
        using var near = telephone;
        using var far = new TcpClient();
        try
        {
            await far.ConnectAsync(_service.Host, _service.Port, _end.Token);
            var posted = false;
            var there = PassAsync(near, far, bytes =>
            {
                posted |= bytes.Span.StartsWith("POST "u8);
                return true;
            });
            var back = PassAsync(far, near, _ =>
            {
                if (!posted || !CutsAnswers)
                    return true;
                Interlocked.Increment(ref _cut);
                return false;
            });
            await Task.WhenAny(there, back);
        }
        catch (Exception e) when (e is IOException or SocketException or OperationCanceledException or ObjectDisposedException)
        {
            // Either side hung up, or the test is over.
        }
    }

    /// <param name="keep">False ends it before these bytes are passed on.</param>
    private async Task PassAsync(TcpClient from, TcpClient to, Func<ReadOnlyMemory<byte>, bool> keep)
    {
        var bytes = new byte[64 * 1024];
        while (await from.GetStream().ReadAsync(bytes, _end.Token) is > 0 and var read)
        {
            if (!keep(bytes.AsMemory(0, read)))
                return;
            await to.GetStream().WriteAsync(bytes.AsMemory(0, read), _end.Token);
        }
    }
}
