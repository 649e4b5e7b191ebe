using System.Security.Cryptography;
using Microsoft.IdentityModel.JsonWebTokens;
using Microsoft.IdentityModel.Tokens;

namespace RehabRecords.Documents;

/// <summary>
/// The key by which the service signs documents (ES384: ECDSA on P-384 with SHA-384), and the public part of every key it
/// ever signed with. A signature says that this service froze these bytes when the named clinician signed in front of it;
/// it is not the clinician's own key.
/// </summary>
public sealed class SigningKeys : IDisposable
{
    public const string Folder = "signing";
    private const string PrivateFile = "private-key.pem";
    private const string PublicEnding = ".public.pem";
    private const UnixFileMode OwnerOnly = UnixFileMode.UserRead | UnixFileMode.UserWrite;

    private readonly Lazy<Held> _held;

    /// <param name="dataFolder">Where public keys are kept, and the private one unless <paramref name="keyFile"/> names it.</param>
    /// <param name="keyFile">A PEM file with a P-384 private key, kept by the operator; null to have one made.</param>
    public SigningKeys(string dataFolder, string? keyFile = null) => _held = new Lazy<Held>(() => Open(Path.Combine(dataFolder, Folder), keyFile));

    /// <summary>Every public key, as a JSON Web Key Set (RFC 7517).</summary>
    public JsonWebKeySet PublicKeys
    {
        get
        {
            var set = new JsonWebKeySet();
            foreach (var key in _held.Value.Public)
                set.Keys.Add(key);
            return set;
        }
    }

    /// <summary>RFC 7638 thumbprint of the key in use.</summary>
    public string KeyId => _held.Value.Signing.KeyId;

    /// <summary>A compact JWS over a JSON object.</summary>
    public string Sign(string payload)
    {
        var handler = new JsonWebTokenHandler { SetDefaultTimesOnTokenCreation = false };
        lock (_held.Value.Signing)
            return handler.CreateToken(payload, new SigningCredentials(_held.Value.Signing, SecurityAlgorithms.EcdsaSha384));
    }

    /// <summary>The payload, if the JWS was made with one of our keys and by ES384; null otherwise.</summary>
    public async Task<JsonWebToken?> OpenAsync(string jws)
    {
        var handler = new JsonWebTokenHandler();
        if (!handler.CanReadToken(jws))
            return null;
        var result = await handler.ValidateTokenAsync(jws, new TokenValidationParameters
        {
            ValidAlgorithms = [SecurityAlgorithms.EcdsaSha384],
            IssuerSigningKeys = _held.Value.Public,
            // A kid we do not know means a key we do not trust.
            TryAllIssuerSigningKeys = false,
            ValidateIssuerSigningKey = true,
            ValidateAudience = false,
            ValidateIssuer = false,
            // A signature under a clinical document does not run out.
            ValidateLifetime = false,
        });
        return result.IsValid ? result.SecurityToken as JsonWebToken : null;
    }

    public void Dispose()
    {
        if (_held.IsValueCreated)
            _held.Value.Signing.ECDsa.Dispose();
    }

    private static Held Open(string folder, string? keyFile)
    {
        if (OperatingSystem.IsWindows())
            Directory.CreateDirectory(folder);
        else
            Directory.CreateDirectory(folder, OwnerOnly | UnixFileMode.UserExecute);
        var file = keyFile ?? Path.Combine(folder, PrivateFile);
        if (keyFile is null && !File.Exists(file))
            Make(file);
        var signing = new ECDsaSecurityKey(Read(file));
        var shown = Public(signing.ECDsa);
        signing.KeyId = shown.KeyId;
        var own = Path.Combine(folder, shown.KeyId + PublicEnding);
        if (!File.Exists(own))
            File.WriteAllText(own, signing.ECDsa.ExportSubjectPublicKeyInfoPem());
        return new Held(signing, [.. Directory.EnumerateFiles(folder, "*" + PublicEnding).Order(StringComparer.Ordinal).Select(f => Public(Read(f)))]);
    }

    /// <summary>Only the owner of the process may read it, from the moment it exists.</summary>
    private static void Make(string file)
    {
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP384);
        var options = new FileStreamOptions { Mode = FileMode.CreateNew, Access = FileAccess.Write };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = OwnerOnly;
        using var writer = new StreamWriter(file, options);
        writer.Write(key.ExportPkcs8PrivateKeyPem());
    }

    private static ECDsa Read(string file)
    {
        var key = ECDsa.Create();
        try
        {
            key.ImportFromPem(File.ReadAllText(file));
        }
        catch (Exception e) when (e is ArgumentException or CryptographicException or IOException or UnauthorizedAccessException)
        {
            key.Dispose();
            throw new InvalidOperationException($"The signing key {file} cannot be read: {e.Message} Give an unencrypted PEM file with a P-384 key, or leave RehabRecords:SigningKeyFile out to have one made.", e);
        }

        if (key.KeySize != 384)
            throw new InvalidOperationException($"The signing key {file} has {key.KeySize} bits; ES384 needs a key on the curve P-384.");
        return key;
    }

    private static JsonWebKey Public(ECDsa key)
    {
        using var publicOnly = ECDsa.Create(key.ExportParameters(includePrivateParameters: false));
        var converted = JsonWebKeyConverter.ConvertFromECDsaSecurityKey(new ECDsaSecurityKey(publicOnly));
        // A key of its own: the converted one holds on to the key it was made from.
        var shown = new JsonWebKey { Kty = converted.Kty, Crv = converted.Crv, X = converted.X, Y = converted.Y };
        shown.KeyId = Base64UrlEncoder.Encode(shown.ComputeJwkThumbprint());
        (shown.Alg, shown.Use) = (SecurityAlgorithms.EcdsaSha384, "sig");
        return shown;
    }

    private sealed record Held(ECDsaSecurityKey Signing, IReadOnlyList<JsonWebKey> Public);
}
