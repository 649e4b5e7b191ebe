using System.Collections.Concurrent;
using System.Security.Cryptography;
using System.Text;
using Microsoft.IdentityModel.JsonWebTokens;
using Microsoft.IdentityModel.Tokens;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Access;

/// <summary>
/// What a system proves its identity with: a token of its own, signed with its private key, as SMART Backend Services asks.
/// Everything about it is checked here; the signature by the library.
/// </summary>
public sealed class Assertions(Clients clients, Stores stores, Settings settings, TimeProvider clock)
{
    /// <summary>As SMART has it.</summary>
    public static readonly TimeSpan LongestLife = TimeSpan.FromMinutes(5);

    /// <summary>By how much two clocks may differ.</summary>
    public static readonly TimeSpan Skew = TimeSpan.FromSeconds(30);

    /// <summary>For how long a used one is remembered: longer than any holds, and than two instances' clocks differ.</summary>
    public static readonly TimeSpan Remembered = TimeSpan.FromHours(1);

    private const string Use = "assertion";

    public static readonly IReadOnlyList<string> Algorithms = [SecurityAlgorithms.RsaSha384, SecurityAlgorithms.EcdsaSha384];

    private static readonly JsonWebTokenHandler Handler = new() { MapInboundClaims = false, MaximumTokenSizeInBytes = 16 * 1024 };

    private readonly ConcurrentDictionary<string, DateTimeOffset> _forgotAt = new(StringComparer.Ordinal);

    public string TokenAddress => settings.PublicUrl + TokenServer.TokenPath;

    /// <summary>How the library is to check one.</summary>
    public TokenValidationParameters Parameters() => new()
    {
        ValidAlgorithms = Algorithms,
        // What SMART calls JWT is an assertion of a client to the library.
        TypeValidator = (type, _, _) => string.Equals(type, "JWT", StringComparison.OrdinalIgnoreCase) ? "client-authentication+jwt" : throw new SecurityTokenInvalidTypeException("The type of an assertion is JWT."),
        ValidateIssuer = true,
        IssuerValidator = (issuer, token, _) => clients.Find(issuer) is not null && token is JsonWebToken { Subject: var subject } && subject == issuer
            ? issuer : throw new SecurityTokenInvalidIssuerException("Issuer and subject of an assertion are the id of a registered client."),
        ValidateAudience = true,
        ValidAudience = TokenAddress,
        // https://host and https://host/ are two addresses.
        IgnoreTrailingSlashWhenValidatingAudience = false,
        RequireSignedTokens = true,
        RequireExpirationTime = true,
        ValidateLifetime = true,
        LifetimeValidator = (from, until, _, _) =>
        {
            var now = clock.GetUtcNow().UtcDateTime;
            return until is { } end && end > now - Skew && end <= now + LongestLife && (from is null || from <= now + Skew);
        },
        TryAllIssuerSigningKeys = false,
        IssuerSigningKeyResolver = (_, token, kid, _) => Keys(token, kid),
    };

    /// <summary>The client that sent it; null when anything about it is wrong, or when it was used before.</summary>
    public async Task<Client?> ProveAsync(string? assertion, CancellationToken ct)
    {
        if (string.IsNullOrEmpty(assertion))
            return null;
        var result = await Handler.ValidateTokenAsync(assertion, Parameters());
        if (!result.IsValid || result.SecurityToken is not JsonWebToken token || token.Subject != token.Issuer || clients.Find(token.Issuer) is not { } client)
            return null;
        return token.Id is { Length: > 0 and <= 255 } jti && await FirstAsync(client, jti, ct) ? client : null;
    }

    // The key that the token names, and only where it is of the kind that the algorithm needs.
    private IEnumerable<SecurityKey> Keys(SecurityToken token, string kid) =>
        token is JsonWebToken jwt && clients.Find(jwt.Issuer) is { } client
            ? client.Keys.Where(k => k.KeyId == kid && ((JsonWebKey)k).Kty == (jwt.Alg == SecurityAlgorithms.EcdsaSha384 ? JsonWebAlgorithmsKeyTypes.EllipticCurve : JsonWebAlgorithmsKeyTypes.RSA))
            : [];

    /// <summary>A row with a unique key in the store, so that of two instances asked at the same moment one answers no, also after a restart.</summary>
    private async Task<bool> FirstAsync(Client client, string jti, CancellationToken ct)
    {
        await ForgetAsync(client.Organisation, ct);
        var use = Guid.NewGuid().ToString("N");
        var key = new IdempotencyKey($"{Use} {client.Id}", Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(jti))), "");
        var answer = new StoredAnswer(200, use, ReadOnlyMemory<byte>.Empty);
        return (await stores.Of(client.Organisation).CommitAsync(new WriteSet { Key = key, Answer = answer }, ct)).EarlierAnswer is null;
    }

    /// <summary>Now and then, by whoever comes: what was used long ago is refused for its age, so its row is not needed.</summary>
    private async Task ForgetAsync(string organisation, CancellationToken ct)
    {
        var now = clock.GetUtcNow();
        if (now - _forgotAt.GetValueOrDefault(organisation) < Remembered)
            return;
        _forgotAt[organisation] = now;
        await stores.Of(organisation).ForgetAnswersAsync(Use, now - Remembered, ct);
    }
}
