namespace RehabRecords.Commands;

/// <summary>What the program was asked to do. Anything it does not know is refused, so that a typing error is never ignored.</summary>
internal sealed record CommandLine(string Verb, bool Once, string[] Settings)
{
    public const string Serve = "serve";
    public const string Demo = "demo";
    public const string Help = "help";
    public const string ExportRecord = "export-record";
    public const string VerifyRecord = "verify-record";
    public const string ImportRecord = "import-record";
    public const string Backup = "backup";
    public const string VerifyBackup = "verify-backup";
    public const string Restore = "restore";
    public const string MoveStore = "move-store";
    public const string CheckStore = "check-store";
    public const string VerifyAudit = "verify-audit";
    public const string Retention = "retention";
    public const string ApplyErasures = "apply-erasures";
    public const string ClearRemains = "clear-remains";

    /// <summary>Commands that take words after them, with what these are.</summary>
    private static readonly Dictionary<string, string[]> Words = new(StringComparer.Ordinal)
    {
        [ExportRecord] = ["person", "file"],
        [VerifyRecord] = ["zip"],
        [ImportRecord] = ["zip"],
        [Backup] = ["folder"],
        [VerifyBackup] = ["folder"],
        [Restore] = ["folder"],
        [MoveStore] = [],
        [CheckStore] = [],
        [VerifyAudit] = [],
        [Retention] = [],
        [ApplyErasures] = ["file"],
        [ClearRemains] = [],
    };

    /// <summary>Commands that make sense for every organisation at once.</summary>
    private static readonly string[] ForAll = [Backup, VerifyBackup, CheckStore, Restore, MoveStore, VerifyAudit, Retention, ClearRemains];

    /// <summary>Options of the web host itself, passed on as they are; and the section of settings, which the host names when it was given settings of it.</summary>
    private static readonly string[] HostOptions = ["--urls", "--environment", "--contentRoot", "--applicationName", "--RehabRecords"];

    private const string StoreConnection = "--RehabRecords:Store:Connection";

    /// <summary>The words after a command that takes some.</summary>
    public IReadOnlyList<string> Arguments { get; init; } = [];

    /// <summary>Whether the command is for the store of every organisation.</summary>
    public bool All { get; private init; }

    /// <summary>Key of the organisation whose store is meant; null for the one store there is.</summary>
    public string? Organisation { get; private init; }

    /// <summary>Folder of the keys that all organisations share; null for the data folder.</summary>
    public string? KeysFolder { get; init; }

    /// <summary>Address of the running service a record is exported from; null for the store itself.</summary>
    public Uri? From { get; private init; }

    public bool IsAboutRecords => Verb is ExportRecord or VerifyRecord or ImportRecord or VerifyAudit or Retention or ApplyErasures or ClearRemains;

    public bool IsAboutStore => Verb is Backup or VerifyBackup or Restore or MoveStore or CheckStore;

    /// <exception cref="FormatException">An unknown command or option, or an option without its value.</exception>
    public static CommandLine Parse(IReadOnlyList<string> args)
    {
        var verb = Serve;
        var once = false;
        var settings = new List<string>();
        var words = new List<string>();
        Uri? from = null;
        var everyone = false;
        string? organisation = null;
        for (var i = 0; i < args.Count; i++)
        {
            var (name, value) = Split(args[i]);
            switch (name)
            {
                case Serve or Demo or Help when i == 0:
                case var _ when i == 0 && Words.ContainsKey(name):
                    verb = name;
                    break;
                case "--help" or "-h":
                    verb = Help;
                    break;
                case "--once":
                    once = true;
                    break;
                case "--all" when ForAll.Contains(verb):
                    everyone = true;
                    break;
                case "--organisation" when Words.ContainsKey(verb):
                    organisation = Value();
                    break;
                case "--from" when verb == ExportRecord:
                    from = Uri.TryCreate(Value(), UriKind.Absolute, out var service) && service.Scheme is ("http" or "https") ? service
                        : throw new FormatException($"--from needs the address of a service, such as http://127.0.0.1:5080. {RunHelp}");
                    break;
                case "--data":
                    settings.Add("--RehabRecords:DataFolder=" + Path.GetFullPath(Value()));
                    break;
                case "--urls":
                    var urls = Value();
                    settings.Insert(0, "--RehabRecords:PublicUrl=" + urls.Split(';')[0].TrimEnd('/'));
                    settings.Add("--urls=" + urls);
                    break;
                case var secret when secret.Equals(StoreConnection, StringComparison.OrdinalIgnoreCase):
                    throw new FormatException($"A command line can be read by everybody on the machine, and the connection of a store is a secret: name a file by {StoreConnection}File, or set RehabRecords__Store__Connection in the environment.");
                case var setting when HostOptions.Contains(setting, StringComparer.OrdinalIgnoreCase) || (setting.StartsWith("--", StringComparison.Ordinal) && setting.Contains(':')):
                    settings.Add($"{setting}={Value()}");
                    break;
                case var word when Words.TryGetValue(verb, out var wanted) && words.Count < wanted.Length && !word.StartsWith('-'):
                    words.Add(word);
                    break;
                default:
                    throw new FormatException($"'{args[i]}' is not a command or option of this program. {RunHelp}");
            }

            string Value() => value ?? (i + 1 < args.Count ? args[++i] : throw new FormatException($"{name} needs a value after it. {RunHelp}"));
        }

        if (once && verb != Demo)
            throw new FormatException($"--once belongs to the demo command. {RunHelp}");
        if (Words.TryGetValue(verb, out var all) && words.Count < all.Length)
            throw new FormatException($"{verb} needs {string.Join(" and ", all.Skip(words.Count).Select(w => $"a {w}"))} after it. {RunHelp}");
        if (everyone && organisation is not null)
            throw new FormatException($"Give --all or --organisation, not both. {RunHelp}");
        // Whoever runs a command on a store that is not being served holds its files anyway.
        if (Words.ContainsKey(verb))
            settings.InsertRange(0, ["--Logging:LogLevel:Default=Warning", OpenMode]);
        if (verb == Demo)
            settings.InsertRange(0, DemoDefaults);
        settings.Insert(0, WithoutTrace);
        return new CommandLine(verb, once, [.. settings]) { Arguments = words, From = from, All = everyone, Organisation = organisation };
    }

    /// <summary>A start that failed is explained in a sentence, or throws; the host need not print the same trace before that.</summary>
    private const string WithoutTrace = "--Logging:LogLevel:Microsoft.Extensions.Hosting.Internal.Host=Critical";

    /// <summary>Nobody signs in. Only these commands ask for it; everything else is closed unless a setting says otherwise.</summary>
    private const string OpenMode = "--RehabRecords:Access:Mode=Demo";

    private const string RunHelp = "Run it with 'help' to see what it knows.";

    /// <summary>The demo has a store of its own, so that a plain start stays empty, and leaves the screen to what it prints.</summary>
    private static readonly string[] DemoDefaults = [OpenMode, "--RehabRecords:DataFolder=" + Path.GetFullPath(Path.Combine("data", "demo")), "--Logging:LogLevel:Default=Warning"];

    private static (string Name, string? Value) Split(string argument)
    {
        var equals = argument.StartsWith("--", StringComparison.Ordinal) ? argument.IndexOf('=') : -1;
        return equals < 0 ? (argument, null) : (argument[..equals], argument[(equals + 1)..]);
    }
}
