using System.Globalization;
using RehabRecords.Clinical;
using RehabRecords.Progress;

namespace RehabRecords.Host;

/// <summary>What an operator may set, in the section "RehabRecords" of appsettings, the environment or the command line.</summary>
public sealed class Settings
{
    public const string Section = "RehabRecords";

    /// <summary>Folder of the database; made when it is not there.</summary>
    public string DataFolder { get; set; } = "data";

    /// <summary>The engine that keeps the record.</summary>
    public StoreSetting Store { get; set; } = new();

    /// <summary>Folder of FHIR packages (.tgz) whose profiles are known besides R4 and our own; none when left out.</summary>
    public string? PackagesFolder { get; set; }

    /// <summary>Where the service is reached from outside. Every address it hands out starts with this, never with what a caller claims.</summary>
    public string PublicUrl { get; set; } = "http://127.0.0.1:5080";

    /// <summary>IANA zone used for a programme that names none.</summary>
    public string TimeZone { get; set; } = "Europe/London";

    /// <summary>PEM file with a P-384 private key to sign documents with; one is made in the data folder when left out.</summary>
    public string? SigningKeyFile { get; set; }

    /// <summary>Who may enter.</summary>
    public Access.AccessSetting Access { get; set; } = new();

    /// <summary>What leaves a trace.</summary>
    public Audit.AuditSetting Audit { get; set; } = new();

    /// <summary>Where measurements and traces are sent.</summary>
    public Telemetry.TelemetrySetting Telemetry { get; set; } = new();

    internal bool AuditIsOn => Audit.On ?? !Access.IsDemo;

    /// <summary>How fully a programme must be described before it becomes active.</summary>
    public Programmes.ReportingMinimum Reporting { get; set; } = new();

    public Limits Limits { get; set; } = new();

    /// <summary>What is printed on the sheets that go home.</summary>
    public ClinicSetting Clinic { get; set; } = new();

    /// <summary>How documents become PDF files.</summary>
    public Printing.PrintSetting Documents { get; set; } = new();

    /// <summary>When the caseload page says that somebody needs attention.</summary>
    public CaseloadSetting Caseload { get; set; } = new();

    /// <summary>For how long records are kept.</summary>
    public Retention.RetentionSetting Retention { get; set; } = new();

    public ExportSettings Exports { get; set; } = new();

    /// <summary>Limits of the progression rules that the clinic sets otherwise, by id. Text, so that a slip is told in words.</summary>
    public Dictionary<string, string> Progression { get; set; } = [];

    /// <summary>What counts as adherent.</summary>
    public AdherenceSetting Adherence { get; set; } = new();

    /// <summary>Base of the FHIR face, without a slash at the end.</summary>
    public string FhirBase => PublicUrl + "/fhir";

    public static Settings Read(IConfiguration configuration)
    {
        var settings = configuration.GetSection(Section).Get<Settings>() ?? new Settings();
        settings.PublicUrl = settings.PublicUrl.TrimEnd('/');
        settings.PackagesFolder = string.IsNullOrWhiteSpace(settings.PackagesFolder) ? null : settings.PackagesFolder;
        if (!Uri.TryCreate(settings.PublicUrl, UriKind.Absolute, out var url) || url.Scheme is not ("http" or "https"))
            throw new InvalidOperationException($"Setting {Section}:PublicUrl is '{settings.PublicUrl}'; give an absolute http or https address, such as http://127.0.0.1:5080.");
        if (!TimeZoneInfo.TryFindSystemTimeZoneById(settings.TimeZone, out _))
            throw new InvalidOperationException($"Setting {Section}:TimeZone is '{settings.TimeZone}'; give an IANA zone this machine knows, such as Europe/London.");
        settings.Access.Check(Section, settings.PublicUrl);
        settings.Reporting.Check(Section);
        settings.Store.Check();
        settings.Limits.Check();
        settings.Caseload.Check();
        settings.Clinic.Check();
        settings.Documents.Check();
        settings.Exports.Check();
        _ = settings.Retention.Rule();
        settings.Telemetry.Check();
        _ = settings.ClinicRules();
        return settings;
    }

    /// <summary>The rules in force, refused at start-up where a value is outside what a clinic may set.</summary>
    public ClinicRules ClinicRules()
    {
        var limits = Progression.ToDictionary(limit => limit.Key, limit => Number($"Progression:{limit.Key}", limit.Value));
        try
        {
            return Progress.ClinicRules.Of(
                limits,
                Adherence.Percent is { } percent ? Number("Adherence:Percent", percent) : null,
                Adherence.Strict is { } strict ? Truth("Adherence:Strict", strict) : null);
        }
        catch (UnfitInputException unfit)
        {
            throw new InvalidOperationException($"Setting {Section}:{(unfit.Problem.Element == "percent" ? "Adherence:Percent" : $"Progression:{unfit.Problem.Element}")}: {unfit.Message}");
        }
    }

    private static decimal Number(string setting, string text) =>
        decimal.TryParse(text, NumberStyles.AllowDecimalPoint | NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out var number) ? number
            : throw new InvalidOperationException($"Setting {Section}:{setting} is '{text}'; give a number with a decimal point, such as 3 or 0.8.");

    private static bool Truth(string setting, string text) =>
        bool.TryParse(text, out var truth) ? truth : throw new InvalidOperationException($"Setting {Section}:{setting} is '{text}'; give true (more than) or false (at least).");
}

/// <summary>The clinic's definition of "adherent"; what is left out is as published: more than 70 %.</summary>
public sealed class AdherenceSetting
{
    /// <summary>Per cent of what was prescribed, above 0, at most 100.</summary>
    public string? Percent { get; set; }

    /// <summary>true for "more than", false for "at least".</summary>
    public string? Strict { get; set; }
}

/// <summary>The clinic as the person at home needs to know it.</summary>
public sealed class ClinicSetting
{
    public string Name { get; set; } = "Your therapy team";

    /// <summary>Who to call with questions; left as a line to fill in by hand when empty.</summary>
    public string Phone { get; set; } = "";

    /// <summary>The clinic's own address, printed as a QR code too; none when empty.</summary>
    public string Website { get; set; } = "";

    /// <summary>What to call in an emergency, as it is to be printed.</summary>
    public string EmergencyNumber { get; set; } = "the emergency number (999, 112 or 911)";

    public void Check()
    {
        if (Website.Length > 0 && (!Uri.TryCreate(Website, UriKind.Absolute, out var address) || address.Scheme is not ("http" or "https") || Website.Length > 300))
            throw new InvalidOperationException($"Setting {Settings.Section}:Clinic:Website is '{Website}'; give an http or https address of at most 300 characters, or leave it out.");
        if (string.IsNullOrWhiteSpace(EmergencyNumber) || string.IsNullOrWhiteSpace(Name))
            throw new InvalidOperationException($"Settings {Settings.Section}:Clinic:Name and EmergencyNumber must not be empty; leave them out for the words that ship.");
    }
}

/// <summary>Days after and before which the caseload page draws attention. Common practice, no source.</summary>
public sealed class CaseloadSetting
{
    /// <summary>Days without a report of a running programme, 1 to 365.</summary>
    public int QuietDays { get; set; } = 7;

    /// <summary>Days before a goal is due or a programme ends, 0 to 365.</summary>
    public int AheadDays { get; set; } = 7;

    public void Check()
    {
        if (QuietDays is < 1 or > 365 || AheadDays is < 0 or > 365)
            throw new InvalidOperationException(
                $"Settings {Settings.Section}:Caseload need QuietDays from 1 to 365 and AheadDays from 0 to 365; they are {QuietDays} and {AheadDays}.");
    }
}

/// <summary>Bulk exports that wait, and that are kept.</summary>
public sealed class ExportSettings
{
    /// <summary>Exports that may be waiting or in the making at once.</summary>
    public int Waiting { get; set; } = 10;

    /// <summary>Hours for which the files of an export are kept.</summary>
    public int KeptHours { get; set; } = 24;

    public void Check()
    {
        if (Waiting is < 1 or > 1000 || KeptHours is < 1 or > 24 * 31)
            throw new InvalidOperationException(
                $"Settings {Settings.Section}:Exports need Waiting from 1 to 1000 and KeptHours from 1 to 744; they are {Waiting} and {KeptHours}.");
    }
}

/// <summary>Bounds that keep one caller from starving the others. Each is named in the error it causes.</summary>
public sealed class Limits
{
    /// <summary>Bytes of a body that holds one resource or one /api request.</summary>
    public int BodyBytes { get; set; } = 1_000_000;

    /// <summary>Bytes of a body that holds a Bundle.</summary>
    public int BundleBytes { get; set; } = 10_000_000;

    /// <summary>Bytes of resources after which a page of a search ends, though fewer than _count are on it.</summary>
    public int PageBytes { get; set; } = RehabRecords.Fhir.Search.SearchQuery.UsualPageBytes;

    /// <summary>Connections open at once.</summary>
    public int Connections { get; set; } = 2_000;

    public void Check()
    {
        if (BodyBytes < 1 || BundleBytes < BodyBytes || PageBytes < 1 || Connections < 1)
            throw new InvalidOperationException(
                $"Settings {Settings.Section}:Limits need BodyBytes >= 1, BundleBytes >= BodyBytes, PageBytes >= 1 and Connections >= 1; they are {BodyBytes}, {BundleBytes}, {PageBytes} and {Connections}.");
    }
}
