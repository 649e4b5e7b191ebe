namespace RehabRecords.Host;

/// <summary>What an operator may set, in the section "RehabRecords" of appsettings, the environment or the command line.</summary>
public sealed class Settings
{
    public const string Section = "RehabRecords";

    /// <summary>Folder of the database; made when it is not there.</summary>
    public string DataFolder { get; set; } = "data";

    /// <summary>Where the service is reached from outside. Every address it hands out starts with this, never with what a caller claims.</summary>
    public string PublicUrl { get; set; } = "http://127.0.0.1:5080";

    /// <summary>IANA zone used for a programme that names none.</summary>
    public string TimeZone { get; set; } = "Europe/London";

    public Limits Limits { get; set; } = new();

    /// <summary>Base of the FHIR face, without a slash at the end.</summary>
    public string FhirBase => PublicUrl + "/fhir";

    public static Settings Read(IConfiguration configuration)
    {
        var settings = configuration.GetSection(Section).Get<Settings>() ?? new Settings();
        settings.PublicUrl = settings.PublicUrl.TrimEnd('/');
        if (!Uri.TryCreate(settings.PublicUrl, UriKind.Absolute, out var url) || url.Scheme is not ("http" or "https"))
            throw new InvalidOperationException($"Setting {Section}:PublicUrl is '{settings.PublicUrl}'; give an absolute http or https address, such as http://127.0.0.1:5080.");
        if (!TimeZoneInfo.TryFindSystemTimeZoneById(settings.TimeZone, out _))
            throw new InvalidOperationException($"Setting {Section}:TimeZone is '{settings.TimeZone}'; give an IANA zone this machine knows, such as Europe/London.");
        settings.Limits.Check();
        return settings;
    }
}

/// <summary>Bounds that keep one caller from starving the others. Each is named in the error it causes.</summary>
public sealed class Limits
{
    /// <summary>Bytes of a body that holds one resource or one /api request.</summary>
    public int BodyBytes { get; set; } = 1_000_000;

    /// <summary>Bytes of a body that holds a Bundle.</summary>
    public int BundleBytes { get; set; } = 10_000_000;

    /// <summary>Connections open at once.</summary>
    public int Connections { get; set; } = 2_000;

    public void Check()
    {
        if (BodyBytes < 1 || BundleBytes < BodyBytes || Connections < 1)
            throw new InvalidOperationException(
                $"Settings {Settings.Section}:Limits need BodyBytes >= 1, BundleBytes >= BodyBytes and Connections >= 1; they are {BodyBytes}, {BundleBytes} and {Connections}.");
    }
}
