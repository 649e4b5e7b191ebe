using System.Globalization;
using System.Net;
using System.Net.Sockets;

namespace RehabRecords.Drills;

/// <summary>Stands between the service and its database, and can become a hole: nothing comes through, and nobody says so.</summary>
internal sealed class Relay : IDisposable
{
    private readonly TcpListener _listener = new(IPAddress.Loopback, 0);
    private readonly int _to;
    private volatile TaskCompletionSource _open = Opened();

    public Relay(int to)
    {
        _to = to;
        _listener.Start(200);
        _ = AcceptAsync();
    }

    public int Port => ((IPEndPoint)_listener.LocalEndpoint).Port;

    /// <summary>Takes what is sent and forwards nothing; the connections stay, so that only a time-out notices.</summary>
    public void Hold() => _open = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);

    public void LetGo() => _open.TrySetResult();

    /// <summary>Has the system drop every packet of the connections to it, in both directions, as a switch does that lost its power. Needs root and nft.</summary>
    public async Task DropAsync()
    {
        var port = Port.ToString(CultureInfo.InvariantCulture);
        await Shell.RunAsync("nft", $"add table inet drill{port}; add chain inet drill{port} cut {{ type filter hook input priority 0; }}; add rule inet drill{port} cut tcp dport {port} drop; add rule inet drill{port} cut tcp sport {port} drop");
    }

    public Task LetThroughAsync() => Shell.RunAsync("nft", $"delete table inet drill{Port.ToString(CultureInfo.InvariantCulture)}");

    public void Dispose()
    {
        LetGo();
        _listener.Dispose();
    }

    private static TaskCompletionSource Opened()
    {
        var open = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);
        open.SetResult();
        return open;
    }

    private async Task AcceptAsync()
    {
        try
        {
            while (true)
                _ = ConnectAsync(await _listener.AcceptSocketAsync());
        }
        catch (Exception e) when (e is SocketException or ObjectDisposedException)
        {
            // The drill is over.
        }
    }

    private async Task ConnectAsync(Socket client)
    {
        using var server = new Socket(SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
        using (client)
        {
            try
            {
                client.NoDelay = true;
                await _open.Task;
                await server.ConnectAsync(IPAddress.Loopback, _to);
                await Task.WhenAny(ForwardAsync(client, server), ForwardAsync(server, client));
            }
            catch (SocketException)
            {
                // One end has gone, and so the other goes.
            }
        }
    }

    private async Task ForwardAsync(Socket from, Socket to)
    {
        var buffer = new byte[64 * 1024];
        try
        {
            for (int read; (read = await from.ReceiveAsync(buffer)) > 0;)
            {
                await _open.Task;
                for (var sent = 0; sent < read;)
                    sent += await to.SendAsync(buffer.AsMemory(sent, read - sent));
            }
        }
        catch (Exception e) when (e is SocketException or ObjectDisposedException)
        {
            // One end has gone, and so the other goes.
        }
    }
}
