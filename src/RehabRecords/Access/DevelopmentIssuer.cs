using System.Net;
using System.Security.Claims;
using Microsoft.AspNetCore;
using Microsoft.AspNetCore.Http.HttpResults;
using OpenIddict.Abstractions;
using OpenIddict.Server.AspNetCore;
using static OpenIddict.Abstractions.OpenIddictConstants;
using static OpenIddict.Server.OpenIddictServerEvents;
using Settings = RehabRecords.Host.Settings;

namespace RehabRecords.Access;

/// <summary>
/// An issuer that believes whatever it is told, for developing and trying out sign-in with invented people. It speaks the
/// real protocol (authorisation code with proof key), by OpenIddict. It starts only in the environment Development and on
/// loopback addresses; anywhere else the whole service does not start.
/// </summary>
internal static class DevelopmentIssuer
{
    private const string AuthorizePath = "/development-issuer/authorize";

    /// <exception cref="InvalidOperationException">It is asked for where it must not be.</exception>
    public static void RefuseOutsideDevelopment(IHostEnvironment environment, Settings settings)
    {
        if (!settings.Access.DevelopmentIssuer)
            return;
        if (!environment.IsDevelopment())
            throw new InvalidOperationException($"Setting {Settings.Section}:Access:DevelopmentIssuer is on, and the environment is {environment.EnvironmentName}. It lets anybody sign in as anybody, so it works in the environment Development only. Leave it out, and name an issuer in {Settings.Section}:Access:SignIn:Authority.");
        if (!Loopback.Is(settings.PublicUrl))
            throw new InvalidOperationException($"Setting {Settings.Section}:Access:DevelopmentIssuer is on, and {Settings.Section}:PublicUrl is {settings.PublicUrl}. It lets anybody sign in as anybody, so it is reached from this machine only, such as http://127.0.0.1:5080.");
    }

    public static void AddDevelopmentIssuer(this OpenIddictServerBuilder server)
    {
        server.SetAuthorizationEndpointUris(AuthorizePath.TrimStart('/')).AllowAuthorizationCodeFlow().RequireProofKeyForCodeExchange();
        server.UseAspNetCore().EnableAuthorizationEndpointPassthrough();
        server.AddEventHandler<ValidateAuthorizationRequestContext>(handler => handler.UseSingletonHandler<OwnPagesOnly>());
    }

    public static void MapDevelopmentIssuer(this IEndpointRouteBuilder app) =>
        app.MapMethods(AuthorizePath, ["GET", "POST"], static (HttpContext http, Settings settings) =>
        {
            var asked = http.GetOpenIddictServerRequest()!;
            // GET asks who it shall be; the form comes back with the same question and the answer.
            return HttpMethods.IsGet(http.Request.Method) || (string?)asked["person"] is not { Length: > 0 } name
                ? new RazorComponentResult<DevelopmentIssuerPage>(new
                {
                    Asked = asked.GetParameters().Select(p => KeyValuePair.Create(p.Key, (string?)p.Value ?? "")).ToList(),
                    settings.Access.Organisations,
                })
                : Results.SignIn(Person(asked, name, settings.Access.SignIn), authenticationScheme: OpenIddictServerAspNetCoreDefaults.AuthenticationScheme);
        }).ExcludeFromDescription().DisableAntiforgery();

    private static ClaimsPrincipal Person(OpenIddictRequest asked, string name, SignInSetting setting)
    {
        var identity = new ClaimsIdentity("development", Claims.Name, Claims.Role);
        identity.SetClaim(Claims.Subject, "development:" + name.ToLowerInvariant().Replace(' ', '-'));
        identity.SetClaim(Claims.Name, name);
        foreach (var (claim, field) in new[]
        {
            (setting.RoleClaim, "role"), (setting.OrganisationClaim, "organisation"), (setting.ProfessionClaim, "profession"),
            (setting.RegistrationBodyClaim, "registrationBody"), (setting.RegistrationClaim, "registration"),
        })
            if ((string?)asked[field] is { Length: > 0 } value)
                identity.SetClaim(claim, value);
        identity.SetScopes(asked.GetScopes());
        identity.SetDestinations(static _ => [Destinations.IdentityToken]);
        return new ClaimsPrincipal(identity);
    }

    /// <summary>It serves the pages of this very service and no other client.</summary>
    private sealed class OwnPagesOnly(Settings settings) : OpenIddict.Server.IOpenIddictServerHandler<ValidateAuthorizationRequestContext>
    {
        public ValueTask HandleAsync(ValidateAuthorizationRequestContext context)
        {
            if (context.ClientId != settings.Access.SignIn.ClientId || context.RedirectUri != settings.PublicUrl + SignIn.BackPath)
                context.Reject(Errors.InvalidClient, "This issuer serves the pages of this service only.");
            return default;
        }
    }
}

/// <summary>What is open to everybody must not be reached from elsewhere.</summary>
internal static class Loopback
{
    public static bool Is(string url) =>
        Uri.TryCreate(url, UriKind.Absolute, out var address) && address.IsLoopback;

    public static bool Is(IPAddress? address) => address is null || IPAddress.IsLoopback(address.IsIPv4MappedToIPv6 ? address.MapToIPv4() : address);
}
