using System.Net;
using System.Net.Sockets;

namespace RehabRecords.Tests.Fhir.Store;

/// <summary>Stands between a store and its server, and cuts the line where a test wants it cut.</summary>
internal sealed class CuttingProxy : IDisposable
{
    public enum Cut
    {
        Never,

        /// <summary>What the client says last does not reach the server.</summary>
        BeforeCommit,

        /// <summary>It does, but the answer does not come back.</summary>
        AfterCommit,
    }

    private static readonly byte[] _commit = "COMMIT\0"u8.ToArray();

    private readonly TcpListener _listener = new(IPAddress.Loopback, 0);
    private readonly IPEndPoint _server;
    private readonly List<Socket> _open = [];
    private volatile bool _down;

    public CuttingProxy(string connection)
    {
        var server = new Npgsql.NpgsqlConnectionStringBuilder(connection);
        _server = new IPEndPoint(IPAddress.Parse(server.Host!), server.Port);
        _listener.Start();
        // Prepared statements have a number in place of their text.
        Connection = new Npgsql.NpgsqlConnectionStringBuilder(connection) { Port = ((IPEndPoint)_listener.LocalEndpoint).Port, MaxAutoPrepare = 0 }.ConnectionString + ";Max Auto Prepare=0";
        _ = AcceptAsync();
    }

    public string Connection { get; }

    /// <summary>What happens at the next commit; once.</summary>
    public Cut Next { get; set; }

    public int Cuts { get; private set; }

    /// <summary>As when the server is away: whoever is connected is cut off, and nobody gets through.</summary>
    public bool Down
    {
        get => _down;
        set
        {
            _down = value;
            if (value)
                CloseAll();
        }
    }

    public void Dispose()
    {
        _listener.Dispose();
        CloseAll();
    }

    private async Task AcceptAsync()
    {
        try
        {
            while (true)
            {
                var client = await _listener.AcceptSocketAsync();
                if (_down)
                {
                    client.Close(0);
                    continue;
                }

                var server = new Socket(SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
                await server.ConnectAsync(_server);
                client.NoDelay = true;
                lock (_open)
                    _open.AddRange([client, server]);
                _ = ForwardAsync(client, server, watches: true);
                _ = ForwardAsync(server, client, watches: false);
            }
        }
        catch (Exception e) when (e is SocketException or ObjectDisposedException)
        {
            // The test is over.
        }
    }

    private async Task ForwardAsync(Socket from, Socket to, bool watches)
    {
        var buffer = new byte[64 * 1024];
        try
        {
            for (int read; (read = await from.ReceiveAsync(buffer)) > 0;)
            {
                if (watches && Next != Cut.Never && buffer.AsSpan(0, read).IndexOf(_commit) >= 0)
                {
                    var cut = Next;
                    Next = Cut.Never;
                    Cuts++;
                    if (cut == Cut.AfterCommit)
                    {
                        from.Close(0);
                        await to.SendAsync(buffer.AsMemory(0, read));
                        await Task.Delay(300);
                    }

                    break;
                }

                for (var sent = 0; sent < read;)
                    sent += await to.SendAsync(buffer.AsMemory(sent, read - sent));
            }
        }
        catch (Exception e) when (e is SocketException or ObjectDisposedException)
        {
            // One end has gone, and so the other goes.
        }

        from.Close(0);
        to.Close(0);
    }

    private void CloseAll()
    {
        lock (_open)
        {
            foreach (var socket in _open)
                socket.Close(0);
            _open.Clear();
        }
    }
}
