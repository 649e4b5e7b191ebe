namespace RehabRecords.Drills;

/// <summary>As many instances of the service on one record as its engine allows.</summary>
internal sealed class Fleet : IAsyncDisposable
{
    private readonly List<Instance> _instances = [];

    public static async Task<Fleet> StartAsync(Backend backend)
    {
        var fleet = new Fleet();
        for (var n = 0; n < Backend.Instances; n++)
            fleet._instances.Add(await Instance.StartAsync(backend));
        return fleet;
    }

    /// <summary>The instance that a client has to do with.</summary>
    public Instance Of(int client) => _instances[client % _instances.Count];

    public Task KillAsync() => Task.WhenAll(_instances.Select(i => i.KillAsync()));

    public async ValueTask DisposeAsync()
    {
        foreach (var instance in _instances)
            await instance.DisposeAsync();
    }
}
