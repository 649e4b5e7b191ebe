using System.Diagnostics;

namespace RehabRecords.Drills;

/// <summary>Programs of the operating system that make a fault.</summary>
internal static class Shell
{
    public static async Task<string> RunAsync(string program, params string[] arguments)
    {
        Process process;
        try
        {
            process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardOutput = true, RedirectStandardError = true })!;
        }
        catch (System.ComponentModel.Win32Exception)
        {
            throw new InvalidOperationException($"'{program}' is not here. On Debian: apt-get install {program}.");
        }

        using (process)
        {
            var output = process.StandardOutput.ReadToEndAsync();
            var error = await process.StandardError.ReadToEndAsync();
            await process.WaitForExitAsync();
            return process.ExitCode == 0 ? await output : throw new InvalidOperationException($"{program} {string.Join(' ', arguments)} ended with {process.ExitCode}: {error.Trim()}");
        }
    }
}
