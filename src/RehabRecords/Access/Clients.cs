using System.Collections.Frozen;
using System.Text.Json;
using System.Text.Json.Serialization;
using Microsoft.IdentityModel.Tokens;
using RehabRecords.Fhir;
using RehabRecords.Host;

namespace RehabRecords.Access;

/// <summary>A system that may call, as the operator registered it.</summary>
public sealed record Client(string Id, string Name, string Organisation, Role Role, IReadOnlyList<Scope> Scopes, IReadOnlyList<SecurityKey> Keys, IReadOnlySet<string>? People)
{
    public Caller Caller(IReadOnlyList<Scope> scopes, string? tokenId) => new(Organisation, Role, Id, Name) { Scopes = scopes, People = People, TokenId = tokenId };
}

/// <summary>The registered systems, from the file that the settings name. It is read again when it changes, so that a key is replaced without a restart.</summary>
public sealed partial class Clients(Settings settings, ResourceRegistry registry, TimeProvider clock, ILogger<Clients> log)
{
    private const int MostBytes = 1_000_000;
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(2);
    private static readonly JsonSerializerOptions Json = new(JsonSerializerDefaults.Web)
    {
        UnmappedMemberHandling = JsonUnmappedMemberHandling.Disallow,
        RespectRequiredConstructorParameters = true,
        AllowDuplicateProperties = false,
    };

    private readonly Lock _lock = new();
    private FrozenDictionary<string, Client>? _clients;
    private DateTime _of;
    private DateTimeOffset _looked;

    public Client? Find(string? id) => id is null ? null : All().GetValueOrDefault(id);

    /// <exception cref="InvalidOperationException">The file cannot be used; says why.</exception>
    public IReadOnlyDictionary<string, Client> All()
    {
        if (settings.Access.ClientsFile is not { } path)
            return FrozenDictionary<string, Client>.Empty;
        lock (_lock)
        {
            var now = clock.GetUtcNow();
            if (_clients is not null && (now - _looked).Duration() < LookEvery)
                return _clients;
            _looked = now;
            try
            {
                var written = File.GetLastWriteTimeUtc(path);
                if (_clients is null || written != _of)
                    (_clients, _of) = (Read(path).ToFrozenDictionary(c => c.Id, StringComparer.Ordinal), written);
            }
            catch (Exception unusable) when (_clients is not null && unusable is InvalidOperationException or IOException or UnauthorizedAccessException)
            {
                // Half-written, say. Those known before stay, until it can be read.
                LogUnusable(log, unusable.Message);
            }

            return _clients;
        }
    }

    private IEnumerable<Client> Read(string path)
    {
        if (!File.Exists(path))
            throw Unfit(path, "is not there");
        if (new FileInfo(path).Length > MostBytes)
            throw Unfit(path, $"is longer than {MostBytes} bytes");
        List<Entry> entries;
        try
        {
            entries = JsonSerializer.Deserialize<Register>(File.ReadAllBytes(path), Json)!.Clients;
        }
        catch (JsonException json)
        {
            throw Unfit(path, $"cannot be read: {json.Message}");
        }

        if (entries.GroupBy(e => e.Id).FirstOrDefault(g => g.Count() > 1) is { } twice)
            throw Unfit(path, $"names the client '{twice.Key}' twice");
        return [.. entries.Select(e => ClientOf(path, e))];
    }

    private Client ClientOf(string path, Entry entry)
    {
        if (string.IsNullOrWhiteSpace(entry.Id) || entry.Id.Length > 64 || entry.Id.Any(c => c is < '!' or > '~'))
            throw Unfit(path, $"has the client id '{entry.Id}'; give 1 to 64 printable characters without spaces");
        if (!settings.Access.Organisations.ContainsKey(entry.Organisation))
            throw Unfit(path, $"gives client '{entry.Id}' the organisation '{entry.Organisation}', which is not among Access:Organisations");
        var role = RoleTable.Read<Role>(entry.Role) ?? throw Unfit(path, $"gives client '{entry.Id}' the role '{entry.Role}'; give one of {string.Join(", ", Enum.GetValues<Role>().Select(RoleTable.Word))}");
        var scopes = entry.Scopes.Select(s => Scope.Read(s, registry) ?? throw Unfit(path, $"gives client '{entry.Id}' the scope '{s}'; give such as system/Observation.rs, system/*.cruds, api/read-record or api/*")).ToList();
        var set = entry switch
        {
            { Keys: { } inline, KeysFile: null } => inline.GetRawText(),
            { Keys: null, KeysFile: { } file } => File.ReadAllText(Path.Combine(Path.GetDirectoryName(Path.GetFullPath(path))!, file)),
            _ => throw Unfit(path, $"must give client '{entry.Id}' either keys or keysFile"),
        };
        return new Client(entry.Id, entry.Name ?? entry.Id, entry.Organisation, role, scopes, KeysOf(path, entry.Id, set), entry.People?.ToFrozenSet(StringComparer.Ordinal));
    }

    private static List<SecurityKey> KeysOf(string path, string id, string set)
    {
        JsonWebKeySet keys;
        try
        {
            keys = new JsonWebKeySet(set);
        }
        catch (ArgumentException)
        {
            throw Unfit(path, $"gives client '{id}' keys that are no JSON Web Key Set");
        }

        foreach (var key in keys.Keys)
        {
            if (key.HasPrivateKey || key.Kty == JsonWebAlgorithmsKeyTypes.Octet)
                throw Unfit(path, $"gives client '{id}' a secret key ('{key.Kid}'); only the public half belongs here, and the other is to be replaced now");
            if (string.IsNullOrEmpty(key.Kid) || !(key is { Kty: JsonWebAlgorithmsKeyTypes.RSA, KeySize: >= 2048 } || key is { Kty: JsonWebAlgorithmsKeyTypes.EllipticCurve, Crv: JsonWebKeyECTypes.P384 }))
                throw Unfit(path, $"gives client '{id}' the key '{key.Kid}', which is not of use: it needs a kid, and is RSA of 2048 bits or more (for RS384) or EC P-384 (for ES384)");
        }

        if (keys.Keys.Count == 0 || keys.Keys.GroupBy(k => k.Kid).Any(g => g.Count() > 1))
            throw Unfit(path, $"must give client '{id}' one key or more, each with a kid of its own");
        return [.. keys.Keys];
    }

    private static InvalidOperationException Unfit(string path, string what) => new($"Setting {Settings.Section}:Access:ClientsFile: {path} {what}.");

    [LoggerMessage(Level = LogLevel.Error, Message = "The file of clients was changed and cannot be used; the clients known before stay. {Reason}")]
    private static partial void LogUnusable(ILogger log, string reason);

    private sealed record Register(List<Entry> Clients);

    private sealed record Entry(string Id, string Organisation, string Role, List<string> Scopes, string? Name = null, JsonElement? Keys = null, string? KeysFile = null, List<string>? People = null);
}
