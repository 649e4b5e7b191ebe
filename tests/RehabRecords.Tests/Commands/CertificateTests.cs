using System.Net;
using System.Net.Security;
using System.Net.Sockets;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using System.Text;

namespace RehabRecords.Tests.Commands;

/// <summary>Somebody answers in place of the database: whoever cannot prove to be it hears neither user nor password.</summary>
public sealed class CertificateTests : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("rehabrecords-tests-").FullName;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    [Theory]
    [InlineData("localhost", 30, true, "VerifyFull", true)]
    [InlineData("localhost", 30, false, "VerifyFull", false)]
    [InlineData("db.clinic.example", 30, true, "VerifyFull", false)]
    [InlineData("localhost", -1, true, "VerifyFull", false)]
    [InlineData("db.clinic.example", 30, true, "VerifyCA", true)]
    [InlineData("localhost", 30, false, "VerifyCA", false)]
    public async Task Only_a_server_with_a_certificate_of_the_authority_for_its_name_and_in_time_hears_who_asks(string name, int days, bool ofTheAuthority, string mode, bool hears)
    {
        using var authority = Authority("The clinic's authority");
        using var another = Authority("Somebody");
        using var certificate = Certificate(name, days, ofTheAuthority ? authority : another);
        var root = Path.Combine(_folder, "root.pem");
        await File.WriteAllTextAsync(root, authority.ExportCertificatePem());
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        var heard = HearAsync(listener, certificate);

        var connection = Path.Combine(_folder, "connection");
        await File.WriteAllTextAsync(connection,
            $"Host=localhost;Port={((IPEndPoint)listener.LocalEndpoint).Port};Database=d;Username=the_clinic;Password=geheim;SSL Mode={mode};Root Certificate={root};Timeout=60");
        using var program = RunningProgram.StartOnSqlite(_folder, ["--RehabRecords:Store:Engine", "postgresql", "--RehabRecords:Store:ConnectionFile", connection, "--urls", $"http://127.0.0.1:{RunningProgram.FreePort()}"]);
        Assert.Equal(1, await program.EndAsync());
        listener.Stop();

        Assert.Contains("cannot be opened", program.Said, StringComparison.Ordinal);
        Assert.DoesNotContain("geheim", program.Said, StringComparison.Ordinal);
        var (asked, words) = await heard;
        Assert.True(asked > 0, "The service never asked for an encrypted line.");
        Assert.Equal(hears, words.Contains("the_clinic", StringComparison.Ordinal));
        if (!hears)
        {
            Assert.Equal("", words);
            Assert.Contains("certificate", program.Said, StringComparison.Ordinal);
        }
    }

    /// <summary>Does the first steps of PostgreSQL's protocol with whoever comes: agrees to encrypt, and listens to what is said then.</summary>
    private static async Task<(int Asked, string Words)> HearAsync(TcpListener listener, X509Certificate2 certificate)
    {
        var (asked, words) = (0, new StringBuilder());
        while (true)
        {
            try
            {
                using var client = await listener.AcceptTcpClientAsync();
                var buffer = new byte[1024];
                await using var line = client.GetStream();
                // The request for encryption: length 8, code 80877103 (PostgreSQL 15, message formats).
                await line.ReadExactlyAsync(buffer.AsMemory(0, 8));
                Assert.Equal([0, 0, 0, 8, 4, 210, 22, 47], buffer[..8]);
                asked++;
                await line.WriteAsync("S"u8.ToArray());
                await using var encrypted = new SslStream(line);
                await encrypted.AuthenticateAsServerAsync(certificate);
                words.Append(Encoding.Latin1.GetString(buffer, 0, await encrypted.ReadAsync(buffer)));
            }
            catch (Exception e) when (e is IOException or System.Security.Authentication.AuthenticationException)
            {
                // Hung up on.
            }
            catch (Exception e) when (e is SocketException or ObjectDisposedException or InvalidOperationException)
            {
                return (asked, words.ToString());
            }
        }
    }

    private static X509Certificate2 Authority(string name)
    {
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP256);
        var request = new CertificateRequest($"CN={name}", key, HashAlgorithmName.SHA256);
        request.CertificateExtensions.Add(new X509BasicConstraintsExtension(true, false, 0, true));
        return request.CreateSelfSigned(DateTimeOffset.UtcNow.AddDays(-60), DateTimeOffset.UtcNow.AddDays(60));
    }

    private static X509Certificate2 Certificate(string name, int days, X509Certificate2 authority)
    {
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP256);
        var request = new CertificateRequest($"CN={name}", key, HashAlgorithmName.SHA256);
        var names = new SubjectAlternativeNameBuilder();
        names.AddDnsName(name);
        request.CertificateExtensions.Add(names.Build());
        request.CertificateExtensions.Add(new X509EnhancedKeyUsageExtension([new Oid("1.3.6.1.5.5.7.3.1")], true));
        using var made = request.Create(authority, DateTimeOffset.UtcNow.AddDays(-30), DateTimeOffset.UtcNow.AddDays(days), RandomNumberGenerator.GetBytes(8));
        using var whole = made.CopyWithPrivateKey(key);
        return X509CertificateLoader.LoadPkcs12(whole.Export(X509ContentType.Pfx), null);
    }
}
