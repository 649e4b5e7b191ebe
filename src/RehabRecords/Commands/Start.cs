using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;

namespace RehabRecords.Commands;

/// <summary>Carries out the command that was typed: builds the service, starts it, and keeps it running until it is stopped.</summary>
internal static class Start
{
    private const int Failed = 1;
    private const int WrongCommand = 2;

    public static async Task<int> RunAsync(string[] args, Func<string[], WebApplication> build)
    {
        var began = TimeProvider.System.GetTimestamp();
        CommandLine line;
        try
        {
            line = CommandLine.Parse(args);
        }
        catch (FormatException typing)
        {
            await Console.Error.WriteLineAsync(typing.Message);
            return WrongCommand;
        }

        if (line.Verb == CommandLine.Help)
        {
            Console.WriteLine(Usage.Text);
            return 0;
        }

        if (line.IsAboutRecords || line.IsAboutStore)
            return await PerOrganisation.RunAsync(line, build, one => one.IsAboutRecords ? RecordCommands.RunAsync(one, build) : StoreCommands.RunAsync(one, build));

        try
        {
            await using var app = build(line.Settings);
            await app.StartAsync();
            if (line.Verb == CommandLine.Demo)
                await ShowDemoAsync(app, line.Once, began);
            if (line.Once)
                await app.StopAsync();
            else
                await app.WaitForShutdownAsync();
            return 0;
        }
        catch (DemoRefusedException refused)
        {
            await Console.Error.WriteLineAsync("The demo stopped. " + refused.Message);
            return Failed;
        }
        catch (Exception failure) when (StartFailure.Explain(failure) is { } explanation)
        {
            await Console.Error.WriteLineAsync("RehabRecords could not start. " + explanation);
            return Failed;
        }
    }

    private static async Task ShowDemoAsync(WebApplication app, bool once, long began)
    {
        var stopping = app.Lifetime.ApplicationStopping;
        try
        {
            await Demo.ShowAsync(AddressOf(app), app.Configuration["RehabRecords:DataFolder"]!, once, began, stopping);
        }
        catch (OperationCanceledException) when (stopping.IsCancellationRequested)
        {
            // Stopped while it was still being filled; the next start goes on with it.
        }
    }

    /// <summary>Where to reach the service from this machine, also when it listens on every address or on a port the system chose.</summary>
    private static Uri AddressOf(WebApplication app)
    {
        var addresses = app.Services.GetRequiredService<IServer>().Features.Get<IServerAddressesFeature>()!.Addresses;
        return new Uri(addresses.First().Replace("0.0.0.0", "127.0.0.1").Replace("[::]", "127.0.0.1").Replace("//+", "//127.0.0.1").Replace("//*", "//127.0.0.1"));
    }
}
