using RehabRecords.Host;

namespace RehabRecords.Printing;

/// <summary>How documents become PDF files.</summary>
public sealed class PrintSetting
{
    /// <summary>Chromium (131 or later) or Chrome, as a path; no PDF is made when left out.</summary>
    public string? Browser { get; set; }

    /// <summary>False where the operating system gives the browser no sandbox, as in many containers. Only pages of our own are ever shown to it.</summary>
    public bool Sandbox { get; set; } = true;

    /// <summary>Seconds a document may take, waiting included, 1 to 600.</summary>
    public int Seconds { get; set; } = 30;

    /// <summary>Browsers that run at once, 1 to 64.</summary>
    public int AtOnce { get; set; } = 2;

    public void Check()
    {
        Browser = string.IsNullOrWhiteSpace(Browser) ? null : Browser;
        if (Browser is not null && !File.Exists(Browser))
            throw new InvalidOperationException($"Setting {Settings.Section}:Documents:Browser is '{Browser}', which is no file; give the path of Chromium, such as /usr/bin/chromium, or leave it out.");
        if (Seconds is < 1 or > 600 || AtOnce is < 1 or > 64)
            throw new InvalidOperationException(
                $"Settings {Settings.Section}:Documents need Seconds from 1 to 600 and AtOnce from 1 to 64; they are {Seconds} and {AtOnce}.");
    }
}
