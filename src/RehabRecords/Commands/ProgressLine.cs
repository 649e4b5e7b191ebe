using RehabRecords.RecordExport;

namespace RehabRecords.Commands;

/// <summary>One line that changes in place on a terminal; in a log, a line now and then. On the error stream, so that results can be piped.</summary>
internal sealed class ProgressLine : IDisposable
{
    private static readonly TimeSpan OnScreen = TimeSpan.FromMilliseconds(200);
    private static readonly TimeSpan InLog = TimeSpan.FromSeconds(10);

    private readonly bool _isTerminal = !Console.IsErrorRedirected;
    private long _shown = TimeProvider.System.GetTimestamp();
    private int _width;

    public void Show(ExportProgress progress) =>
        Show($"{progress.Written} of {progress.Versions} versions ({(progress.Versions == 0 ? 100 : 100 * progress.Written / progress.Versions)} %), {progress.File}");

    public void Show(string text)
    {
        if (TimeProvider.System.GetElapsedTime(_shown) < (_isTerminal ? OnScreen : InLog))
            return;
        _shown = TimeProvider.System.GetTimestamp();
        if (_isTerminal)
        {
            Console.Error.Write("\r" + text.PadRight(_width));
            _width = text.Length;
        }
        else
            Console.Error.WriteLine(text);
    }

    public void Dispose()
    {
        if (_width > 0)
            Console.Error.Write("\r" + new string(' ', _width) + "\r");
        _width = 0;
    }
}
