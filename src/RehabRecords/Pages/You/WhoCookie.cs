using System.Security.Cryptography;
using System.Text.Json;
using Microsoft.AspNetCore.DataProtection;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Host;
using RehabRecords.Trade;

namespace RehabRecords.Pages.You;

/// <summary>
/// Keeps who is working in a cookie that only this service can read and make. It lasts until the browser is closed, and not
/// longer than a working day, so that nobody signs in the name of who sat there before.
/// </summary>
internal sealed class WhoCookie(IDataProtectionProvider protection, TimeProvider clock, Settings settings)
{
    public const string Name = "who";

    /// <summary>A long working day. Common practice, no source.</summary>
    private static readonly TimeSpan Longest = TimeSpan.FromHours(12);

    private readonly IDataProtector _protector = protection.CreateProtector("RehabRecords.Who.1");

    /// <summary>Whether who is working is known from signing in, and not from what somebody says here.</summary>
    public bool IsSignedIn => !settings.Access.IsDemo;

    /// <summary>Null when nobody has said so, or too long ago. Where people sign in, it is who signed in and nobody else.</summary>
    public Who? Read(HttpContext http)
    {
        if (IsSignedIn)
            return http.RequestServices.GetRequiredService<Calling>() is { IsKnown: true, Caller: { IsPerson: true } person } ? new Who(
                person.Name, person.Profession ?? RoleTable.Word(person.Role).Replace('-', ' '), person.Registration is null ? null : person.RegistrationBody, person.Registration, clock.GetUtcNow()) : null;
        if (http.Request.Cookies[Name] is not { Length: > 0 } held)
            return null;
        try
        {
            var who = JsonSerializer.Deserialize<Who>(_protector.Unprotect(held), TradeJson.Options);
            return who is not null && clock.GetUtcNow() - who.At <= Longest ? who : null;
        }
        catch (Exception e) when (e is CryptographicException or JsonException or FormatException)
        {
            // Of another installation, or damaged: as if there were none.
            return null;
        }
    }

    /// <exception cref="RefusedException">Nobody has said who is working; what they would do carries a name.</exception>
    public Who Require(HttpContext http) => Read(http) ?? throw Missing.Bad("who", "Nobody has said who is working here, and what is done to a record carries a name. Say who you are, then send this again.");

    public void Write(HttpContext http, Who who) => http.Response.Cookies.Append(Name, _protector.Protect(JsonSerializer.Serialize(who, TradeJson.Options)), Options);

    public void Forget(HttpContext http) => http.Response.Cookies.Delete(Name, Options);

    private CookieOptions Options => new()
    {
        HttpOnly = true,
        // Lax, so that a link in a message opens the page with the name known; forms carry a token of their own.
        SameSite = SameSiteMode.Lax,
        Secure = settings.PublicUrl.StartsWith("https:", StringComparison.Ordinal),
        Path = "/",
        IsEssential = true,
    };
}
