using System.Reflection;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Antiforgery;
using Microsoft.AspNetCore.DataProtection;
using Microsoft.AspNetCore.DataProtection.KeyManagement;
using Microsoft.AspNetCore.DataProtection.Repositories;
using Microsoft.AspNetCore.Http.Metadata;
using RehabRecords.Fhir;
using RehabRecords.Host;
using RehabRecords.Trade;

namespace RehabRecords.Pages.You;

/// <summary>
/// The fields of a form that was sent from one of our own pages. A handler that takes one never sees a forged post: the
/// token of the form is checked before anything is read from it.
/// </summary>
#pragma warning disable CA1000 // The framework finds both by these static names.
internal sealed class Filled(IFormCollection fields) : IBindableFromHttpContext<Filled>, IEndpointParameterMetadataProvider
{
    /// <summary>As typed, without blanks around it and with plain line ends; null where nothing was typed.</summary>
    public string? this[string name] => fields[name].ToString().ReplaceLineEndings("\n").Trim() is { Length: > 0 } text ? text : null;

    public IEnumerable<string> Names => fields.Keys;

    public IReadOnlyList<string> All(string name) => [.. fields[name].OfType<string>().Where(v => v.Length > 0)];

    /// <summary>What was typed into fields whose names begin so, by the rest of the name; nothing typed is an empty text.</summary>
    public IEnumerable<(string Of, string Text)> Each(string prefix) =>
        fields.Keys.Where(k => k.StartsWith(prefix, StringComparison.Ordinal)).Select(k => (k[prefix.Length..], this[k] ?? ""));

    /// <summary>By itself, and not while it is read, so that the page can be shown again with what was typed.</summary>
    /// <exception cref="RefusedException">A field holds what no text of the record may hold.</exception>
    public void Check()
    {
        foreach (var (name, values) in fields)
            foreach (var text in values.OfType<string>())
                BodyText.CheckText(text, name);
    }

    public static async ValueTask<Filled?> BindAsync(HttpContext context, ParameterInfo parameter)
    {
        if (context.Features.Get<IAntiforgeryValidationFeature>() is not { IsValid: true })
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Security,
                "The form does not carry the token of its page, or was open too long; nothing was stored. Go back, load the page again and send it from there.");
        if (!context.Request.HasFormContentType)
            throw new RefusedException(Refusal.UnknownFormat, OperationOutcome.IssueType.NotSupported, "This address takes the form of its page.");
        return new Filled(await FormBody.ReadAsync(context.Request, "Load the page again and send it from there.", context.RequestAborted));
    }

    public static void PopulateMetadata(ParameterInfo parameter, EndpointBuilder builder) => builder.Metadata.Add(new RequireAntiforgeryTokenAttribute());
}
#pragma warning restore CA1000

/// <summary>What forms need to be safe: tokens against forgery, and keys that outlive a restart.</summary>
internal static class Forms
{
    /// <summary>Folder of the keys within the data folder.</summary>
    public const string Folder = "page-keys";

    public const string TokenField = "__RequestVerificationToken";

    public static void AddForms(this IServiceCollection services)
    {
        services.AddDataProtection().SetApplicationName("RehabRecords");
        services.AddOptions<KeyManagementOptions>().Configure<Settings, ILoggerFactory>((keys, settings, logs) =>
            keys.XmlRepository = new FileSystemXmlRepository(Private(Path.Combine(settings.DataFolder, Folder)), logs));
        // It warns that the keys are not encrypted. Nothing of the data folder is; who may read it is the operating system's matter.
        services.AddLogging(logs => logs.AddFilter("Microsoft.AspNetCore.DataProtection", LogLevel.Error));
        services.AddAntiforgery();
        services.AddOptions<AntiforgeryOptions>().Configure<Settings>((tokens, settings) =>
        {
            // The prefix makes a browser refuse one that another host or an unsafe connection set.
            tokens.Cookie.Name = settings.PublicUrl.StartsWith("https:", StringComparison.Ordinal) ? "__Host-form" : "form";
            tokens.Cookie.Path = "/";
            tokens.FormFieldName = TokenField;
            // The policy of every answer says it already, and more strictly.
            tokens.SuppressXFrameOptionsHeader = true;
        });
        services.AddSingleton<WhoCookie>();
    }

    public static void UseForms(this WebApplication app)
    {
        // Behind a proxy the request itself does not show that it came by https; the address the service is reached at does.
        if (app.Services.GetRequiredService<Settings>().PublicUrl.StartsWith("https:", StringComparison.Ordinal))
            app.UseCookiePolicy(new CookiePolicyOptions { Secure = CookieSecurePolicy.Always });
        app.UseAntiforgery();
    }

    /// <summary>Whoever holds these keys can say to be anybody: only the owner of the process may read them.</summary>
    private static DirectoryInfo Private(string folder) => OperatingSystem.IsWindows()
        ? Directory.CreateDirectory(folder)
        : Directory.CreateDirectory(folder, UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.UserExecute);
}
