using RehabRecords.Access;
using RehabRecords.Host;

namespace RehabRecords.Commands;

/// <summary>Each organisation has a store of its own. A command takes the one that is named, or all of them one after the other.</summary>
internal static class PerOrganisation
{
    private const int Failed = 1;

    public static async Task<int> RunAsync(CommandLine line, Func<string[], WebApplication> build, Func<CommandLine, Task<int>> run)
    {
        if (!line.All && line.Organisation is null)
            return await run(line);
        Settings settings;
        await using (var app = build(line.Settings))
            settings = app.Services.GetRequiredService<Settings>();
        var known = settings.Access.Organisations.Keys.Order(StringComparer.Ordinal).ToList();
        if (known.Count == 0 || (line.Organisation is { } named && !known.Contains(named)))
        {
            await Console.Error.WriteLineAsync(known.Count == 0
                ? $"No organisation is set ({Settings.Section}:Access:Organisations), so there is one store: leave out --all and --organisation."
                : $"There is no organisation '{line.Organisation}'; set are: {string.Join(", ", known)}.");
            return Failed;
        }

        var worst = 0;
        foreach (var key in line.All ? known : [line.Organisation!])
        {
            if (line.All)
                Console.WriteLine($"== {key} ({settings.Access.Organisations[key]})");
            worst = Math.Max(worst, await run(line.For(key, settings)));
        }

        return worst;
    }

    /// <summary>The same command for the store of one organisation; a folder of backups has a folder for each.</summary>
    private static CommandLine For(this CommandLine line, string key, Settings settings) => line with
    {
        Settings = [.. line.Settings, $"--{Settings.Section}:DataFolder={Stores.FolderOf(settings.DataFolder, key)}", $"--{Settings.Section}:Store:Schema={Stores.SchemaOf(settings.Store.Schema, key)}"],
        Arguments = line.All ? [.. line.Arguments.Select(folder => Path.Combine(folder, key))] : line.Arguments,
        KeysFolder = settings.DataFolder,
    };
}
