using System.Security.Cryptography;
using System.Text;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>What an erasure would take.</summary>
/// <param name="Types">Resources and versions by type.</param>
/// <param name="Digest">SHA-256 over all of it; it changes with every write to the record.</param>
/// <param name="Elsewhere">What names the person and is about somebody else, or about nobody alone: it stays, and is to be looked at by hand.</param>
public sealed record ErasurePlan(IReadOnlyList<TypeCount> Types, string Digest, int AuditEvents, IReadOnlyList<string> Elsewhere)
{
    public long Resources => Types.Sum(t => t.Resources);

    public long Versions => Types.Sum(t => t.Versions);
}

/// <summary>
/// All that is about a person and nobody else: the record as an export has it, files that nothing else names, and deletions. Events of the
/// audit trail are told apart, since these are not taken away.
/// </summary>
internal sealed class ErasureSet
{
    private static readonly Comparer<(string Type, string Id)> _byAddress = Comparer<(string Type, string Id)>.Create((a, b) => string.CompareOrdinal($"{a.Type}/{a.Id}", $"{b.Type}/{b.Id}"));

    private readonly SortedSet<(string Type, string Id)> _whole = new(_byAddress);
    private readonly SortedSet<(string Type, string Id)> _shared = new(_byAddress);
    private readonly SortedSet<string> _events = new(StringComparer.Ordinal);
    private readonly SortedSet<string> _elsewhere = new(StringComparer.Ordinal);
    private readonly List<long> _people;

    private ErasureSet(IReadOnlyList<string> people) => _people = [.. people.Select(Person.Number)];

    /// <summary>Resources that go with all their versions.</summary>
    public IReadOnlyCollection<(string Type, string Id)> Whole => _whole;

    /// <summary>Resources some of whose versions are about somebody else: these versions stay.</summary>
    public IReadOnlyCollection<(string Type, string Id)> Shared => _shared;

    /// <summary>Ids of AuditEvents that name the person or something of the record.</summary>
    public IReadOnlyCollection<string> Events => _events;

    public bool Takes(string type, string id) => _whole.Contains((type, id)) || _shared.Contains((type, id));

    /// <param name="people">Ids of Patients: one, and those that were merged into it.</param>
    public static ErasureSet Gather(Session session, Dialect dialect, SearchParameters parameters, IReadOnlyList<string> people)
    {
        var set = new ErasureSet(people);
        var kept = new List<(string Type, string Id, bool Linked)>();
        foreach (var person in people)
        {
            PersonRecord.Gather(session, dialect, parameters, person);
            kept.AddRange(session.Rows("SELECT type, id, linked FROM kept", r => (r.GetString(0), r.GetString(1), r.GetInt32(2) == 1)));
        }

        // A writer keeps its connection, and these are of no use to it.
        foreach (var table in (ReadOnlySpan<string>)["kept", "lead", "held"])
            session.Run($"DROP TABLE IF EXISTS {table}");
        var following = string.Join(',', parameters.Compartment.Following.Select(f => f.Key).DefaultIfEmpty(0));
        var linking = string.Join(',', parameters.Compartment.Keys.DefaultIfEmpty(0));
        foreach (var (type, id, linked) in kept)
            set.Sort(session, type, id, linked, linking);
        set.AddFiles(session, following);
        set.LeaveWhatFollowsOthers(session, following);
        set.AddEvents(session, parameters);
        return set;
    }

    public ErasurePlan Plan(Session session)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        var types = new SortedDictionary<string, (long Resources, long Versions)>(StringComparer.Ordinal);
        foreach (var (type, id) in _whole.Concat(_shared))
        {
            var versions = 0;
            foreach (var version in Versions(session, type, id))
            {
                versions++;
                hash.AppendData(Encoding.UTF8.GetBytes($"{version.VersionedAddress}\n{(version.Deleted ? "deleted" : "")}\n{version.Json.Length}\n"));
                hash.AppendData(version.Json.Span);
            }

            var (resources, before) = types.GetValueOrDefault(type);
            types[type] = (resources + 1, before + versions);
        }

        return new ErasurePlan([.. types.Select(t => new TypeCount(t.Key, t.Value.Resources, t.Value.Versions))], Convert.ToHexStringLower(hash.GetHashAndReset()), _events.Count, [.. _elsewhere]);
    }

    /// <summary>Versions of a resource that are about the person, or follow what is.</summary>
    private IEnumerable<RecordVersion> Versions(Session session, string type, string id)
    {
        var all = RecordReads.HistoryAsItIs(session, type, id);
        if (_whole.Contains((type, id)))
            return all;
        var theirs = session.Rows("SELECT version, person FROM version WHERE type=@p0 AND id=@p1", r => (r.GetInt32(0), r.GetInt64(1)), type, id).Where(v => _people.Contains(v.Item2)).Select(v => v.Item1).ToHashSet();
        return all.Where(v => theirs.Contains(v.Version));
    }

    private void Sort(Session session, string type, string id, bool linked, string linking)
    {
        if (type == "AuditEvent")
        {
            _events.Add(id);
            return;
        }

        var people = session.Rows("SELECT DISTINCT person FROM version WHERE type=@p0 AND id=@p1", r => r.GetInt64(0), type, id);
        if (people.Count == 0)
            return;
        var others = people.Where(p => p != 0 && !_people.Contains(p)).ToList();
        if (others.Count > 0)
        {
            if (people.Exists(_people.Contains))
                _shared.Add((type, id));
            else
                _elsewhere.Add($"{type}/{id}");
        }
        else if (linked && !people.Exists(_people.Contains) && session.Rows(
            $"SELECT DISTINCT x.target FROM reference_row x JOIN resource r ON r.num=x.res WHERE r.type=@p0 AND r.id=@p1 AND x.parameter IN ({linking})", r => r.GetString(0), type, id)
            .Exists(t => t.StartsWith("Patient/", StringComparison.Ordinal) && !_people.Contains(Person.Number(t["Patient/".Length..]))))
            _elsewhere.Add($"{type}/{id}");
        else
            _whole.Add((type, id));
    }

    /// <summary>The bytes of attachments name nobody: those go that nothing else names.</summary>
    private void AddFiles(Session session, string following)
    {
        var files = new HashSet<string>(StringComparer.Ordinal);
        foreach (var (type, id) in _whole)
            foreach (var version in RecordReads.HistoryAsItIs(session, type, id).Where(v => !v.Deleted))
                ReferenceScan.Read(version.Json.Span, found =>
                {
                    if (found.Address is { Type: "Binary" } file)
                        files.Add(file.Id);
                });
        foreach (var file in files.Where(f => !Takes("Binary", f) && session.One("SELECT 1 FROM resource WHERE type='Binary' AND id=@p0", f) is not null))
        {
            var named = session.Rows("SELECT r.type, r.id FROM uri_row u JOIN resource r ON r.num=u.res WHERE u.value=@p0", r => (r.GetString(0), r.GetString(1)), $"Binary/{file}")
                .Concat(session.Rows("SELECT r.type, r.id FROM reference_row x JOIN resource r ON r.num=x.res WHERE x.target=@p0 AND r.type NOT IN ('AuditEvent', 'Provenance')", r => (r.GetString(0), r.GetString(1)), $"Binary/{file}"));
            if (named.Any(n => !Takes(n.Item1, n.Item2)))
            {
                _elsewhere.Add($"Binary/{file}");
                continue;
            }

            _whole.Add(("Binary", file));
            foreach (var (type, id) in session.Rows($"SELECT r.type, r.id FROM reference_row x JOIN resource r ON r.num=x.res WHERE x.target=@p0 AND x.parameter IN ({following}) AND r.person=0", r => (r.GetString(0), r.GetString(1)), $"Binary/{file}"))
                _whole.Add((type, id));
        }
    }

    /// <summary>What tells where resources of several people came from is nobody's alone.</summary>
    private void LeaveWhatFollowsOthers(Session session, string following)
    {
        foreach (var (type, id) in _whole.Where(w => w.Type is "Provenance" or "Bundle").ToList())
        {
            var targets = session.Rows($"SELECT DISTINCT x.target FROM reference_row x JOIN resource r ON r.num=x.res WHERE r.type=@p0 AND r.id=@p1 AND x.parameter IN ({following})", r => r.GetString(0), type, id);
            if (!targets.Exists(t => ReferenceTypes.Split(t) is { Base: "" } to && !Takes(to.Type, to.Id)
                && session.One("SELECT person FROM resource WHERE type=@p0 AND id=@p1", to.Type, to.Id) is long and not 0))
                continue;
            _whole.Remove((type, id));
            _elsewhere.Add($"{type}/{id}");
        }
    }

    private void AddEvents(Session session, SearchParameters parameters)
    {
        if (parameters.Find("AuditEvent", "entity") is not { } entity)
            return;
        foreach (var (type, id) in _whole.Concat(_shared))
            _events.UnionWith(session.Rows("SELECT r.id FROM reference_row x JOIN resource r ON r.num=x.res WHERE x.target=@p0 AND x.parameter=@p1", r => r.GetString(0), $"{type}/{id}", entity.Key));
    }
}
