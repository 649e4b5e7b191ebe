using System.Security.Claims;
using Microsoft.IdentityModel.Tokens;
using OpenIddict.Abstractions;
using OpenIddict.Server;
using RehabRecords.Fhir;
using static OpenIddict.Abstractions.OpenIddictConstants;
using static OpenIddict.Server.OpenIddictServerEvents;
using Settings = RehabRecords.Host.Settings;

namespace RehabRecords.Access;

/// <summary>
/// Gives out access tokens to registered systems (SMART Backend Services), by OpenIddict. There is no store of tokens: one holds for
/// minutes, and what a client may do is looked up with every call.
/// </summary>
internal static class TokenServer
{
    public const string TokenPath = "/access/token";

    public static void AddTokenServer(this IServiceCollection services, Settings settings)
    {
        services.AddSingleton<Clients>();
        services.AddSingleton<Assertions>();
        services.AddOpenIddict()
            .AddServer(server =>
            {
                server.SetIssuer(new Uri(settings.PublicUrl + "/"))
                    .SetTokenEndpointUris(TokenPath.TrimStart('/'))
                    .SetAccessTokenLifetime(TimeSpan.FromSeconds(settings.Access.TokenSeconds))
                    .AllowClientCredentialsFlow()
                    .EnableDegradedMode()
                    .DisableAccessTokenEncryption()
                    .DisableScopeValidation()
                    // For codes of the development issuer, which nobody keeps.
                    .AddEphemeralEncryptionKey();
                if (settings.Access.DevelopmentIssuer)
                    server.AddDevelopmentIssuer();
                server.UseAspNetCore()
                    // The service believes its own settings: TLS ends at the proxy, and PublicUrl says whether there is any.
                    .DisableTransportSecurityRequirement();
                server.AddEventHandler<ValidateTokenContext>(handler => handler
                    .UseSingletonHandler<CheckAssertion>()
                    .SetOrder(OpenIddictServerHandlers.Protection.ResolveTokenValidationParameters.Descriptor.Order + 500));
                server.AddEventHandler<ValidateTokenRequestContext>(handler => handler.UseSingletonHandler<AdmitClient>());
                server.AddEventHandler<HandleTokenRequestContext>(handler => handler.UseSingletonHandler<GrantToken>());
            })
            .AddValidation(validation =>
            {
                validation.UseLocalServer();
                // A token that was given out for something else is none here.
                validation.AddAudiences(settings.FhirBase);
                validation.UseAspNetCore();
            });
        // The key is opened when the service starts, not while it is put together: a command that serves nobody needs none.
        services.AddOptions<OpenIddictServerOptions>().Configure(server =>
        {
            var key = TokenKeys.Open(settings.DataFolder, settings.Access.TokenKeyFile);
            server.SigningCredentials.Insert(0, new SigningCredentials(key, SecurityAlgorithms.EcdsaSha384));
        });
    }

    /// <summary>The library's own check of an assertion takes the keys and the rules from us.</summary>
    private sealed class CheckAssertion(Assertions assertions) : IOpenIddictServerHandler<ValidateTokenContext>
    {
        public ValueTask HandleAsync(ValidateTokenContext context)
        {
            if (!context.ValidTokenTypes.Contains(TokenTypeIdentifiers.Private.ClientAssertion))
                return default;
            context.TokenValidationParameters = assertions.Parameters();
            // SMART wants the token address, where the library's own default is the issuer.
            context.ValidAudiences.Clear();
            context.ValidAudiences.Add(assertions.TokenAddress);
            return default;
        }
    }

    /// <summary>Whether the client is who it says, and which of its scopes it asks for.</summary>
    private sealed class AdmitClient(Assertions assertions, ResourceRegistry registry) : IOpenIddictServerHandler<ValidateTokenRequestContext>
    {
        public async ValueTask HandleAsync(ValidateTokenRequestContext context)
        {
            if (!context.Request.IsClientCredentialsGrantType())
                return;
            if (context.Request.ClientSecret is not null
                || context.Request.ClientAssertionType != ClientAssertionTypes.JwtBearer
                || await assertions.ProveAsync(context.Request.ClientAssertion, context.CancellationToken) is not { } client
                || (context.Request.ClientId is { } stated && stated != client.Id))
            {
                context.Reject(Errors.InvalidClient, "The client is not known by this assertion. It needs iss = sub = the client's id, aud = the token address, exp at most 5 minutes ahead, a jti not used before, and a signature (RS384 or ES384) with a registered key named by kid.");
                return;
            }

            var asked = context.Request.GetScopes();
            if (asked.Length == 0)
            {
                context.Reject(Errors.InvalidScope, $"Ask for one scope or more of those registered: {string.Join(' ', client.Scopes.Select(s => s.Text))}.");
                return;
            }

            if (asked.FirstOrDefault(text => Scope.Read(text, registry) is not { } scope || !client.Scopes.Any(s => s.Contains(scope))) is { } beyond)
                context.Reject(Errors.InvalidScope, $"The client is not registered for the scope '{(beyond.Length > 60 ? beyond[..60] : beyond)}'.");
        }
    }

    private sealed class GrantToken(Settings settings) : IOpenIddictServerHandler<HandleTokenRequestContext>
    {
        public ValueTask HandleAsync(HandleTokenRequestContext context)
        {
            if (!context.Request.IsClientCredentialsGrantType())
                return default;
            var identity = new ClaimsIdentity("client", Claims.Name, Claims.Role);
            identity.SetClaim(Claims.Subject, context.Request.ClientId);
            identity.SetClaim(Claims.ClientId, context.Request.ClientId);
            identity.SetScopes(context.Request.GetScopes());
            identity.SetAudiences(settings.FhirBase);
            identity.SetDestinations(static _ => [Destinations.AccessToken]);
            context.SignIn(new ClaimsPrincipal(identity));
            return default;
        }
    }
}
