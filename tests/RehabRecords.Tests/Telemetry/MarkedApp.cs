using Microsoft.AspNetCore.Hosting;
using Microsoft.Extensions.Logging;
using RehabRecords.Tests.Access;

namespace RehabRecords.Tests.Telemetry;

/// <summary>A closed service with everything turned on that talks: all levels of all logs, traces and measurements.</summary>
internal sealed class MarkedApp : SignInApp
{
    private readonly List<string> _files = [];

    public MarkedApp(Marks marks, string collector)
    {
        Clock = new FailingClock(marks["words of an exception"]);
        Settings["RehabRecords:Telemetry:Endpoint"] = collector;
        Settings["RehabRecords:Telemetry:Protocol"] = "http/protobuf";
        Settings["RehabRecords:Telemetry:Seconds"] = "1";
        Settings["RehabRecords:Access:SignIn:ClientSecretFile"] = FileOf(marks["client secret"]);
        if (TestEngine.IsPostgresql)
            Settings["RehabRecords:Store:ConnectionFile"] = FileOf(TestEngine.Connection + ";Password=" + marks["database password"]);
    }

    public Heard Heard { get; } = new();

    public FailingClock Failing => (FailingClock)Clock!;

    protected override void ConfigureWebHost(IWebHostBuilder builder)
    {
        base.ConfigureWebHost(builder);
        // As somebody would who looks for a fault and turns on all there is, for all logs and for this one.
        builder.ConfigureLogging(logging =>
        {
            logging.ClearProviders().AddProvider(Heard).SetMinimumLevel(LogLevel.Trace);
            foreach (var category in new[] { "", "Microsoft", "Microsoft.AspNetCore", "Microsoft.AspNetCore.Hosting", "Microsoft.AspNetCore.Hosting.Diagnostics", "Microsoft.AspNetCore.Authentication.OpenIdConnect", "Npgsql", "OpenIddict", "System" })
                logging.AddFilter(category, LogLevel.Trace).AddFilter<Heard>(category, LogLevel.Trace);
        });
    }

    protected override void Dispose(bool disposing)
    {
        base.Dispose(disposing);
        _files.ForEach(File.Delete);
    }

    private string FileOf(string content)
    {
        var file = Path.GetTempFileName();
        File.WriteAllText(file, content);
        _files.Add(file);
        return file;
    }
}

/// <summary>A clock that can be made to fail where the record asks for the time, with words that name somebody, as a parser's do.</summary>
internal sealed class FailingClock(string words) : TimeProvider
{
    public bool Fails { get; set; }

    public override DateTimeOffset GetUtcNow() => Fails && Environment.StackTrace.Contains("RehabRecords.Fhir.Store.", StringComparison.Ordinal)
        ? throw new InvalidOperationException($"The input string '{words}' was not in a correct format.", new FormatException(words))
        : System.GetUtcNow();
}
