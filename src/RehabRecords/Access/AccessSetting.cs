using System.Text.RegularExpressions;

namespace RehabRecords.Access;

/// <summary>Whether callers must say who they are.</summary>
public enum AccessMode
{
    /// <summary>Everybody signs in: people through an issuer, systems with a key of their own.</summary>
    Closed,

    /// <summary>Nobody does. For trying it out with invented people, on this machine only.</summary>
    Demo,
}

/// <summary>Who may enter; the section RehabRecords:Access. Closed unless it is said otherwise.</summary>
public sealed partial class AccessSetting
{
    public AccessMode Mode { get; set; } = AccessMode.Closed;

    /// <summary>The organisations whose records are kept here, by key: a word for addresses and folders, and the name.</summary>
    public Dictionary<string, string> Organisations { get; set; } = [];

    /// <summary>JSON file of the systems that may call, with their public keys and scopes; none when left out.</summary>
    public string? ClientsFile { get; set; }

    /// <summary>PEM file with a P-384 private key for access tokens; one is made in the data folder when left out. Instances of one service share it.</summary>
    public string? TokenKeyFile { get; set; }

    /// <summary>Seconds for which an access token holds, 30 to 300.</summary>
    public int TokenSeconds { get; set; } = 300;

    /// <summary>Requests that one caller may send in a minute.</summary>
    public int RequestsPerMinute { get; set; } = 6000;

    /// <summary>
    /// Requests of one caller that are answered at the same time; more wait for their turn. Half of the processors, so that the others are left
    /// for everybody else: with twice as many, somebody who asked without end made others wait 2.6 times as long.
    /// </summary>
    public int RequestsAtOnce { get; set; } = Math.Max(1, Environment.ProcessorCount / 2);

    /// <summary>How people sign in.</summary>
    public SignInSetting SignIn { get; set; } = new();

    /// <summary>Lets this service be the issuer for people by itself, asking nobody for a password. For development on this machine only.</summary>
    public bool DevelopmentIssuer { get; set; }

    public bool IsDemo => Mode == AccessMode.Demo;

    public void Check(string section, string publicUrl)
    {
        var at = $"{section}:Access";
        if (Organisations.Keys.FirstOrDefault(key => !Key().IsMatch(key)) is { } bad)
            throw new InvalidOperationException($"Setting {at}:Organisations names '{bad}'; a key is 2 to 31 small letters, digits and hyphens, and begins with a letter.");
        if (TokenSeconds is < 30 or > 300)
            throw new InvalidOperationException($"Setting {at}:TokenSeconds is {TokenSeconds}; give 30 to 300.");
        if (RequestsPerMinute < 1)
            throw new InvalidOperationException($"Setting {at}:RequestsPerMinute is {RequestsPerMinute}; give 1 or more.");
        if (RequestsAtOnce < 1)
            throw new InvalidOperationException($"Setting {at}:RequestsAtOnce is {RequestsAtOnce}; give 1 or more.");
        if (IsDemo && DevelopmentIssuer)
            throw new InvalidOperationException($"Setting {at}:DevelopmentIssuer has no meaning with {at}:Mode demo, where nobody signs in. Leave one of them out.");
        if (!IsDemo && !DevelopmentIssuer && publicUrl.StartsWith("http:", StringComparison.Ordinal) && !new Uri(publicUrl).IsLoopback && SignIn.Authority is not null)
            throw new InvalidOperationException($"Setting {section}:PublicUrl is '{publicUrl}'; people sign in over https only. Give the https address at which the service is reached.");
        SignIn.Check(at);
    }

    [GeneratedRegex("^[a-z][a-z0-9-]{1,30}$")]
    private static partial Regex Key();
}

/// <summary>The issuer at which people sign in (OpenID Connect), and what its claims are called.</summary>
public sealed class SignInSetting
{
    /// <summary>Address of the issuer; nobody can sign in to the pages when left out.</summary>
    public string? Authority { get; set; }

    public string ClientId { get; set; } = "rehabrecords";

    /// <summary>File that holds the secret which the issuer gave to this service; none when the issuer asks for none.</summary>
    public string? ClientSecretFile { get; set; }

    /// <summary>Claim with the role: therapist, student, support-worker, community-team or records-officer.</summary>
    public string RoleClaim { get; set; } = "rehab_role";

    /// <summary>Claim with the key of the organisation.</summary>
    public string OrganisationClaim { get; set; } = "rehab_organisation";

    /// <summary>Claim with the professional role in words, such as physiotherapist.</summary>
    public string ProfessionClaim { get; set; } = "profession";

    /// <summary>Claim with the body that keeps the register.</summary>
    public string RegistrationBodyClaim { get; set; } = "registration_body";

    /// <summary>Claim with the registration number.</summary>
    public string RegistrationClaim { get; set; } = "registration_number";

    /// <summary>Hours after which somebody signs in anew, 1 to 24.</summary>
    public int Hours { get; set; } = 12;

    public void Check(string at)
    {
        if (Authority is not null && (!Uri.TryCreate(Authority, UriKind.Absolute, out var issuer) || issuer.Scheme != "https"))
            throw new InvalidOperationException($"Setting {at}:SignIn:Authority is '{Authority}'; give the https address of the issuer.");
        if (Hours is < 1 or > 24)
            throw new InvalidOperationException($"Setting {at}:SignIn:Hours is {Hours}; give 1 to 24.");
    }
}
