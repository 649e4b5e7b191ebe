using System.Collections.Concurrent;
using Microsoft.AspNetCore.Authentication;
using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;
using OpenIddict.Abstractions;
using OpenIddict.Validation.AspNetCore;
using RehabRecords.Fhir;
using RehabRecords.Host;

namespace RehabRecords.Access;

/// <summary>Stands before every address: finds out who calls, and lets nobody further than <see cref="Need"/> says.</summary>
internal static partial class Gate
{
    private static readonly ConcurrentDictionary<string, Scope?> Scopes = new(StringComparer.Ordinal);

    public static void AddAccess(this WebApplicationBuilder builder, Settings settings)
    {
        DevelopmentIssuer.RefuseOutsideDevelopment(builder.Environment, settings);
        builder.Services.AddSingleton<Stores>();
        builder.Services.AddScoped<Calling>();
        builder.Services.AddScoped(s => s.GetRequiredService<Calling>().Store);
        if (settings.Access.IsDemo)
        {
            RefuseElsewhere(builder.Configuration, settings);
            return;
        }

        builder.Services.AddSingleton<Shares>();
        builder.Services.AddTokenServer(settings);
        builder.Services.AddSignIn(settings);
    }

    public static void UseAccess(this WebApplication app)
    {
        var settings = app.Services.GetRequiredService<Settings>();
        if (settings.Access.IsDemo || settings.Access.DevelopmentIssuer)
            app.StayOnThisMachine();
        if (settings.Access.IsDemo)
        {
            app.Lifetime.ApplicationStarted.Register(() => LogDemo(app.Logger));
            return;
        }

        // A broken file of clients stops the start, with a plain sentence.
        var clients = app.Services.GetRequiredService<Clients>().All().Count;
        app.Lifetime.ApplicationStarted.Register(() =>
        {
            if (settings.Access.Organisations.Count == 0 || (clients == 0 && !SignIn.IsSetUp(settings)))
                LogNobody(app.Logger);
            if (settings.Access.DevelopmentIssuer)
                LogDevelopmentIssuer(app.Logger);
        });
        var (scheme, host) = (new Uri(settings.PublicUrl).Scheme, HostString.FromUriComponent(new Uri(settings.PublicUrl)));
        app.Use((context, next) =>
        {
            // Addresses that libraries make out of a request begin as ours do, whatever host a caller claims.
            (context.Request.Scheme, context.Request.Host) = (scheme, host);
            return next(context);
        });
        var shares = app.Services.GetRequiredService<Shares>();
        app.Use((context, next) =>
        {
            if (!context.Request.Path.Equals(TokenServer.TokenPath, StringComparison.OrdinalIgnoreCase) || shares.MayAskForToken(context))
                return next(context);
            context.Response.StatusCode = StatusCodes.Status429TooManyRequests;
            return Task.CompletedTask;
        });
        // Answers the token address and the way back from the issuer by itself.
        app.UseAuthentication();
        app.Use(PassAsync);
    }

    public static void MapAccess(this WebApplication app)
    {
        var settings = app.Services.GetRequiredService<Settings>();
        if (settings.Access.IsDemo)
            return;
        app.MapSmartConfiguration();
        if (settings.Access.DevelopmentIssuer)
            app.MapDevelopmentIssuer();
    }

    private static async Task PassAsync(HttpContext context, RequestDelegate next)
    {
        if (context.GetEndpoint() is not RouteEndpoint endpoint)
        {
            await next(context);
            return;
        }

        var calling = context.RequestServices.GetRequiredService<Calling>();
        var need = Need.At(context.Request.Method, endpoint.RoutePattern.RawText ?? "");
        switch (need?.Asks)
        {
            case Asks.Nothing:
                break;
            case Asks.HomeLink:
                calling.Is(Caller.AtHome(HomeOrganisation(context)));
                break;
            default:
                if (await IdentifyAsync(context) is not { } caller)
                {
                    await AskWhoAsync(context);
                    return;
                }

                calling.Is(caller);
                if (need is null)
                    throw Calling.Refused("This address is not open to anybody yet.");
                if (need.Asks == Asks.Act)
                    calling.Require(need.Act);
                break;
        }

        using var turn = calling.IsKnown ? await context.RequestServices.GetRequiredService<Shares>().TakeAsync(calling.Caller, context.Request, context.RequestAborted) : null;
        await next(context);
    }

    private static bool IsForPrograms(PathString path) =>
        path.StartsWithSegments("/fhir", StringComparison.Ordinal) || path.StartsWithSegments("/api", StringComparison.Ordinal);

    /// <summary>Programs come with a token and never with a cookie, pages with a cookie and never with a token: what a browser sends along by itself opens nothing under /fhir and /api.</summary>
    private static async Task<Caller?> IdentifyAsync(HttpContext context)
    {
        var settings = context.RequestServices.GetRequiredService<Settings>();
        if (!IsForPrograms(context.Request.Path))
            return await context.AuthenticateAsync(SignIn.Cookie) is { Succeeded: true, Principal: { } person } ? SignIn.CallerOf(person, settings) : null;
        if (await context.AuthenticateAsync(OpenIddictValidationAspNetCoreDefaults.AuthenticationScheme) is not { Succeeded: true, Principal: { } token }
            || context.RequestServices.GetRequiredService<Clients>().Find(token.GetClaim(OpenIddictConstants.Claims.ClientId)) is not { } client)
            return null;
        var registry = context.RequestServices.GetRequiredService<ResourceRegistry>();
        // What the client was registered for may have become less since the token was given.
        var scopes = token.GetScopes().Select(text => Scopes.GetOrAdd(text, t => Scope.Read(t, registry))).OfType<Scope>().Where(s => client.Scopes.Any(c => c.Contains(s))).ToList();
        return client.Caller(scopes, token.GetClaim(OpenIddictConstants.Claims.JwtId));
    }

    private static async Task AskWhoAsync(HttpContext context)
    {
        if (IsForPrograms(context.Request.Path))
        {
            context.Response.StatusCode = StatusCodes.Status401Unauthorized;
            context.Response.Headers.WWWAuthenticate = context.Request.Headers.Authorization.Count == 0 ? "Bearer" : "Bearer error=\"invalid_token\"";
        }
        else if (HttpMethods.IsGet(context.Request.Method) && SignIn.IsSetUp(context.RequestServices.GetRequiredService<Settings>()))
        {
            await context.ChallengeAsync(SignIn.Issuer, new AuthenticationProperties { RedirectUri = context.Request.Path + context.Request.QueryString });
        }
        else
        {
            context.Response.StatusCode = StatusCodes.Status401Unauthorized;
        }
    }

    /// <summary>The key begins with the organisation's, so that one look-up in one store is enough.</summary>
    private static string HomeOrganisation(HttpContext context)
    {
        var organisations = context.RequestServices.GetRequiredService<Settings>().Access.Organisations;
        var key = ((string?)context.Request.RouteValues["token"] ?? "").Split('.')[0];
        // A key of nowhere is looked for somewhere, and answered as one that is not known.
        return organisations.ContainsKey(key) ? key : organisations.Keys.Order(StringComparer.Ordinal).FirstOrDefault() ?? throw new RefusedException(Refusal.NotFound, Hl7.Fhir.Model.OperationOutcome.IssueType.NotFound, "There is nothing here.");
    }

    private static void RefuseElsewhere(ConfigurationManager configuration, Settings settings)
    {
        var places = (configuration["urls"] ?? settings.PublicUrl).Split(';', StringSplitOptions.RemoveEmptyEntries)
            .Concat(configuration.GetSection("Kestrel:Endpoints").GetChildren().Select(e => e["Url"]).OfType<string>())
            .Concat((configuration["http_ports"] is { Length: > 0 } ports && string.IsNullOrEmpty(configuration["urls"])) ? [$"http://*:{ports}"] : []);
        if (places.FirstOrDefault(place => !Loopback.Is(place)) is { } elsewhere)
            throw new InvalidOperationException($"Setting {Settings.Section}:Access:Mode is demo: nobody signs in, so the service is reached from this machine only, and {elsewhere} is elsewhere. Listen at http://127.0.0.1:5080, or set the mode to closed and say who may enter (docs/access.md).");
    }

    /// <summary>Also where listening was set in a way that the settings do not show.</summary>
    private static void StayOnThisMachine(this WebApplication app)
    {
        app.Lifetime.ApplicationStarted.Register(() =>
        {
            if (app.Services.GetRequiredService<IServer>().Features.Get<IServerAddressesFeature>()?.Addresses.FirstOrDefault(a => !Loopback.Is(a)) is not { } elsewhere)
                return;
            LogElsewhere(app.Logger, elsewhere);
            app.Lifetime.StopApplication();
        });
        app.Use((context, next) =>
        {
            if (Loopback.Is(context.Connection.RemoteIpAddress) && Loopback.Is(context.Connection.LocalIpAddress))
                return next(context);
            context.Response.StatusCode = StatusCodes.Status403Forbidden;
            return Task.CompletedTask;
        });
    }

    [LoggerMessage(Level = LogLevel.Warning, Message = "DEMO MODE: nobody signs in, and whoever can reach this machine's loopback address can read and change everything. Invented people only.")]
    private static partial void LogDemo(ILogger log);

    [LoggerMessage(Level = LogLevel.Warning, Message = "Closed, and nobody can enter yet: name organisations, and a file of clients or an issuer (RehabRecords:Access, docs/access.md). To try it out with invented people, run the demo.")]
    private static partial void LogNobody(ILogger log);

    [LoggerMessage(Level = LogLevel.Warning, Message = "DEVELOPMENT ISSUER: anybody on this machine can sign in as anybody.")]
    private static partial void LogDevelopmentIssuer(ILogger log);

    [LoggerMessage(Level = LogLevel.Critical, Message = "The service listens at {Address}, which is reached from elsewhere, while nobody has to sign in. It stops.")]
    private static partial void LogElsewhere(ILogger log, string address);
}
