using System.Collections.Concurrent;
using System.Text;
using Microsoft.Extensions.Logging;

namespace RehabRecords.Tests.Telemetry;

/// <summary>Keeps everything that is logged: words, values, what surrounds them, and whole exceptions.</summary>
[ProviderAlias("Heard")]
internal sealed class Heard : ILoggerProvider, ISupportExternalScope
{
    private IExternalScopeProvider _scopes = new LoggerExternalScopeProvider();

    public ConcurrentQueue<string> Lines { get; } = [];

    public ILogger CreateLogger(string categoryName) => new Ear(this, categoryName);

    public void SetScopeProvider(IExternalScopeProvider scopeProvider) => _scopes = scopeProvider;

    public void Dispose()
    {
    }

    private sealed class Ear(Heard heard, string category) : ILogger
    {
        public IDisposable? BeginScope<TState>(TState state)
            where TState : notnull => heard._scopes.Push(state);

        public bool IsEnabled(LogLevel logLevel) => true;

        public void Log<TState>(LogLevel logLevel, EventId eventId, TState state, Exception? exception, Func<TState, Exception?, string> formatter)
        {
            var line = new StringBuilder($"{logLevel} {category} {eventId.Name}: {formatter(state, exception)}");
            void Add(object? values)
            {
                if (values is IEnumerable<KeyValuePair<string, object?>> pairs)
                    foreach (var (name, value) in pairs)
                        line.Append($" {name}={value}");
                else
                    line.Append($" {values}");
            }

            Add(state);
            heard._scopes.ForEachScope((scope, _) => Add(scope), 0);
            line.Append($" {exception}");
            heard.Lines.Enqueue(line.ToString());
        }
    }
}
