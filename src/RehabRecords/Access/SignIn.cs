using System.Security.Claims;
using Microsoft.AspNetCore.Authentication.Cookies;
using Microsoft.AspNetCore.Authentication.OpenIdConnect;
using Microsoft.IdentityModel.Protocols.OpenIdConnect;
using RehabRecords.Host;
using RehabRecords.Telemetry;

namespace RehabRecords.Access;

/// <summary>How people sign in to the pages: at an issuer of the organisation's (OpenID Connect), which says who they are. There are no passwords here.</summary>
internal static partial class SignIn
{
    public const string Cookie = CookieAuthenticationDefaults.AuthenticationScheme;
    public const string Issuer = OpenIdConnectDefaults.AuthenticationScheme;
    public const string BackPath = "/signed-in";

    // What is kept of what the issuer said, under names of our own.
    private const string NameClaim = "name", RoleClaim = "role", OrganisationClaim = "organisation", ProfessionClaim = "profession", BodyClaim = "body", NumberClaim = "number", SubjectClaim = "sub";

    public static void AddSignIn(this IServiceCollection services, Settings settings)
    {
        var setting = settings.Access.SignIn;
        var https = settings.PublicUrl.StartsWith("https:", StringComparison.Ordinal);
        var authentication = services.AddAuthentication(Cookie).AddCookie(Cookie, cookie =>
        {
            // The prefix makes a browser refuse one that another host or an unsafe connection set.
            cookie.Cookie.Name = https ? "__Host-session" : "session";
            cookie.Cookie.HttpOnly = true;
            cookie.Cookie.SameSite = SameSiteMode.Lax;
            cookie.Cookie.SecurePolicy = https ? CookieSecurePolicy.Always : CookieSecurePolicy.SameAsRequest;
            cookie.ExpireTimeSpan = TimeSpan.FromHours(setting.Hours);
            cookie.SlidingExpiration = false;
        });
        var authority = settings.Access.DevelopmentIssuer ? settings.PublicUrl : setting.Authority;
        if (authority is null)
            return;
        authentication.AddOpenIdConnect(Issuer, issuer =>
        {
            issuer.Authority = authority;
            issuer.RequireHttpsMetadata = !settings.Access.DevelopmentIssuer;
            issuer.ClientId = setting.ClientId;
            issuer.ClientSecret = setting.ClientSecretFile is { } file ? File.ReadAllText(file).Trim() : null;
            issuer.CallbackPath = BackPath;
            issuer.ResponseType = OpenIdConnectResponseType.Code;
            issuer.ResponseMode = OpenIdConnectResponseMode.Query;
            issuer.UsePkce = true;
            issuer.MapInboundClaims = false;
            issuer.SaveTokens = false;
            issuer.DisableTelemetry = true;
            issuer.UseTokenLifetime = false;
            issuer.Scope.Clear();
            issuer.Scope.Add("openid");
            issuer.Scope.Add("profile");
            foreach (var cookie in (ReadOnlySpan<CookieBuilder>)[issuer.CorrelationCookie, issuer.NonceCookie])
            {
                cookie.SameSite = SameSiteMode.Lax;
                cookie.SecurePolicy = https ? CookieSecurePolicy.Always : CookieSecurePolicy.SameAsRequest;
            }

            issuer.Events.OnTokenValidated = context =>
            {
                if (Kept(context.Principal!, settings) is { } kept)
                    context.Principal = kept;
                else
                    context.Fail("The issuer did not say a role and an organisation that are known here.");
                return Task.CompletedTask;
            };
            issuer.Events.OnRemoteFailure = context =>
            {
                // The answer says it in plain words; the framework would throw. The log names the error and not what was said of whom.
                LogNotSignedIn(context.HttpContext.RequestServices.GetRequiredService<ILoggerFactory>().CreateLogger(typeof(SignIn)), CodeOf(context.Failure), context.Failure is null ? "" : Fault.Of(context.Failure));
                context.HandleResponse();
                throw Calling.Refused("You could not be signed in: either it was cut off, or your account at the issuer has no role and organisation that are known here. Try again; if it stays so, ask whoever keeps the accounts.");
            };
        });
    }

    public static bool IsSetUp(Settings settings) => settings.Access.DevelopmentIssuer || settings.Access.SignIn.Authority is not null;

    /// <summary>The person whose cookie this is; null where what it says is not known here any more.</summary>
    public static Caller? CallerOf(ClaimsPrincipal person, Settings settings) =>
        person.FindFirstValue(OrganisationClaim) is { } organisation && settings.Access.Organisations.ContainsKey(organisation)
        && RoleTable.Read<Role>(person.FindFirstValue(RoleClaim)) is { } role and not Role.System
            ? new Caller(organisation, role, person.FindFirstValue(SubjectClaim)!, person.FindFirstValue(NameClaim)!)
            {
                Profession = person.FindFirstValue(ProfessionClaim),
                RegistrationBody = person.FindFirstValue(BodyClaim),
                Registration = person.FindFirstValue(NumberClaim),
            }
            : null;

    /// <summary>What the issuer answered, where it is one of the words that the standard has for it.</summary>
    private static string CodeOf(Exception? failure)
    {
        for (; failure is not null; failure = failure.InnerException)
            if (failure.Data["error"] is string said)
                return IssuersErrors.Contains(said) ? said : "an error of its own";
        return "no error";
    }

    private static readonly string[] IssuersErrors =
    [
        "access_denied", "invalid_request", "invalid_client", "invalid_grant", "invalid_scope", "unauthorized_client", "unsupported_grant_type", "unsupported_response_type", "server_error",
        "temporarily_unavailable", "interaction_required", "login_required", "account_selection_required", "consent_required", "registration_not_supported",
    ];

    [LoggerMessage(Level = LogLevel.Warning, Message = "Somebody could not be signed in; the issuer said: {Code}. {Fault}")]
    private static partial void LogNotSignedIn(ILogger log, string code, string fault);

    private static ClaimsPrincipal? Kept(ClaimsPrincipal told, Settings settings)
    {
        var setting = settings.Access.SignIn;
        var role = RoleTable.Read<Role>(told.FindFirstValue(setting.RoleClaim));
        var organisation = told.FindFirstValue(setting.OrganisationClaim);
        if (role is null or Role.System || organisation is null || !settings.Access.Organisations.ContainsKey(organisation)
            || told.FindFirstValue("sub") is not { } subject || told.FindFirstValue("name") is not { Length: > 0 and <= 200 } name)
            return null;
        var kept = new List<Claim> { new(SubjectClaim, subject), new(NameClaim, name), new(RoleClaim, RoleTable.Word(role.Value)), new(OrganisationClaim, organisation) };
        foreach (var (ours, theirs) in new[] { (ProfessionClaim, setting.ProfessionClaim), (BodyClaim, setting.RegistrationBodyClaim), (NumberClaim, setting.RegistrationClaim) })
            if (told.FindFirstValue(theirs) is { Length: > 0 and <= 200 } value)
                kept.Add(new(ours, value));
        return new ClaimsPrincipal(new ClaimsIdentity(kept, Issuer, NameClaim, RoleClaim));
    }
}
