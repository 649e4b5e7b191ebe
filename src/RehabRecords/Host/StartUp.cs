using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Host;

/// <summary>
/// What must be done before requests are answered: the store is opened before the service listens, so that a broken one
/// is noticed at once; the validator loads its definitions meanwhile, and requests wait for it.
/// </summary>
internal sealed class StartUp(IServiceProvider services, IHostApplicationLifetime lifetime, ILogger<StartUp> log) : IHostedService
{
    private readonly TaskCompletionSource _ready = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private Task _warming = Task.CompletedTask;

    public Task Ready => _ready.Task;

    public Task StartAsync(CancellationToken cancellationToken)
    {
        _warming = Task.Run(WarmUp, CancellationToken.None);
        services.GetRequiredService<RecordStore>();
        return Task.CompletedTask;
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

    private static void LogFailed(ILogger log, Exception exception) =>
        log.LogCritical(exception, "The definitions could not be loaded; the service stops.");
}
