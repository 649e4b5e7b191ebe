using RehabRecords.Access;
using RehabRecords.Erasure;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Packages;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Host;

/// <summary>
/// What is done at the start: the stores are opened before the service listens, so that a broken one is noticed at once; the
/// validator loads the definitions in use meanwhile. No request waits for all of them.
/// </summary>
internal sealed partial class StartUp(IServiceProvider services, IHostApplicationLifetime lifetime, ILogger<StartUp> log) : IHostedService
{
    private readonly TaskCompletionSource _ready = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private Task _warming = Task.CompletedTask;

    public Task Ready => _ready.Task;

    public async Task StartAsync(CancellationToken cancellationToken)
    {
        // First, because a package that cannot be used stops the start with a plain sentence.
        Tell(services.GetRequiredService<DefinitionsPack>().Packages);
        _warming = Task.Run(WarmUp, CancellationToken.None);
        services.GetRequiredService<Stores>().Open();
        await services.GetRequiredService<ErasureLedger>().SettleAsync(cancellationToken);
    }

    public Task StopAsync(CancellationToken cancellationToken) => _warming.WaitAsync(cancellationToken);

    private void WarmUp()
    {
        try
        {
            services.GetRequiredService<ResourceValidator>().WarmUp();
            _ready.SetResult();
        }
        catch (Exception exception)
        {
            LogFailed(log, exception);
            _ready.SetException(exception);
            // A service that cannot validate must not take anything in.
            lifetime.StopApplication();
        }
    }

    private void Tell(PackageSet packages)
    {
        foreach (var package in packages.Packages)
            LogPackage(log, package.Label, package.Definitions, package.SnapshotsMade);
        foreach (var one in packages.LeftOut)
            LogLeftOut(log, one.Url, one.Package, one.Reason);
    }

    [LoggerMessage(Level = LogLevel.Information, Message = "Package {Package}: {Definitions} definitions in use, {Snapshots} snapshots made")]
    private static partial void LogPackage(ILogger log, string package, int definitions, int snapshots);

    [LoggerMessage(Level = LogLevel.Warning, Message = "{Definition} of package {Package} is not used: {Reason}")]
    private static partial void LogLeftOut(ILogger log, string definition, string package, string reason);

    private static void LogFailed(ILogger log, Exception exception) =>
        log.LogCritical(exception, "The definitions could not be loaded; the service stops.");
}
