using System.Security.Cryptography;
using Microsoft.IdentityModel.Tokens;

namespace RehabRecords.Access;

/// <summary>The key by which access tokens are signed: P-384, from a file that only the owner of the process may read.</summary>
internal static class TokenKeys
{
    private const string FileName = "token-key.pem";

    public static ECDsaSecurityKey Open(string dataFolder, string? file)
    {
        var path = file ?? Path.Combine(dataFolder, FileName);
        if (file is null && !File.Exists(path))
            Make(path);
        var key = ECDsa.Create();
        try
        {
            key.ImportFromPem(File.ReadAllText(path));
        }
        catch (Exception e) when (e is ArgumentException or CryptographicException or IOException or UnauthorizedAccessException)
        {
            key.Dispose();
            throw new InvalidOperationException($"Setting {Host.Settings.Section}:Access:TokenKeyFile: {path} cannot be used: {e.Message} Give a PEM file with a P-384 private key.", e);
        }

        if (key.KeySize != 384)
            throw new InvalidOperationException($"Setting {Host.Settings.Section}:Access:TokenKeyFile: {path} is of {key.KeySize} bits; give a P-384 private key.");
        return new ECDsaSecurityKey(key) { KeyId = Base64UrlEncoder.Encode(SHA256.HashData(key.ExportSubjectPublicKeyInfo()))[..16] };
    }

    private static void Make(string path)
    {
        Directory.CreateDirectory(Path.GetDirectoryName(Path.GetFullPath(path))!);
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP384);
        var options = new FileStreamOptions { Mode = FileMode.CreateNew, Access = FileAccess.Write };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        using var writer = new StreamWriter(path, options);
        writer.Write(key.ExportPkcs8PrivateKeyPem());
    }
}
