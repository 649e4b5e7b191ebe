using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Audit;

/// <summary>
/// Sees what one request is given out of the record and what it writes. Every way to the record leads past it, so that no
/// route can forget the audit trail.
/// </summary>
public sealed class Witness(Settings settings, TimeProvider clock)
{
    private static readonly string[] SubjectNames = ["subject", "patient", "for", "beneficiary", "individual"];

    private readonly Dictionary<string, string> _personOf = new(StringComparer.Ordinal);
    private readonly HashSet<string> _people = new(StringComparer.Ordinal);
    private readonly Lock _lock = new();

    public bool IsOn => settings.AuditIsOn;

    /// <summary>Whose records were given out, at least in part.</summary>
    internal IReadOnlyList<string> People
    {
        get
        {
            lock (_lock)
                return [.. _people];
        }
    }

    /// <summary>The version of the resource that the address names, where it was given out.</summary>
    internal RecordVersion? First { get; private set; }

    /// <summary>True when something was written, and with it who wrote it.</summary>
    internal bool HasWritten { get; private set; }

    internal Who Who { get; private set; } = new("command", "command", "Command at the machine", "operator", null);

    internal string RequestId { get; private set; } = "command";

    internal string Address { get; private set; } = "127.0.0.1";

    internal void Begin(HttpContext context, Caller caller)
    {
        (Who, RequestId) = (Who.Of(caller), context.TraceIdentifier);
        Address = context.Connection.RemoteIpAddress is { } address ? (address.IsIPv4MappedToIPv6 ? address.MapToIPv4() : address).ToString() : "unknown";
    }

    /// <summary>For what is shown from elsewhere than the store, such as a list that is kept in memory.</summary>
    internal void Saw(IEnumerable<string> people)
    {
        if (!IsOn)
            return;
        lock (_lock)
            _people.UnionWith(people);
    }

    internal void Saw(RecordVersion version)
    {
        if (version.Type == "AuditEvent")
            return;
        var person = Subject.Of(version);
        lock (_lock)
        {
            First ??= version;
            if (person is null)
                return;
            _people.Add(person);
            _personOf[version.Address] = person;
        }
    }

    /// <summary>Adds to a set, when all of it was checked, who writes it: in the same transaction, so that neither is without the other.</summary>
    internal void Attest(WriteSet set)
    {
        var writes = set.Writes.Where(w => w.Type != "AuditEvent").ToList();
        if (writes.Count == 0)
            return;
        var events = new AccessEvents(settings);
        foreach (var group in writes.GroupBy(w => (Action: ActionOf(w), Person: PersonOf(w))))
            set.Create(events.Wrote(group.Key.Action, group.Key.Person, [.. group.Select(w => $"{w.Type}/{w.Id}/_history/{w.FromVersion + 1}")], Who, RequestId, Address, clock.GetUtcNow()));
        HasWritten = true;
    }

    private static AuditEvent.AuditEventAction ActionOf(Write write) =>
        write.IsDelete ? AuditEvent.AuditEventAction.D : write.FromVersion == 0 ? AuditEvent.AuditEventAction.C : AuditEvent.AuditEventAction.U;

    private string? PersonOf(Write write)
    {
        if (write.Type == "Patient")
            return write.Id;
        foreach (var name in write.Resource is null ? [] : SubjectNames)
            if (write.Resource!.TryGetValue(name, out var value) && value is ResourceReference { Reference: { } to } && to.StartsWith("Patient/", StringComparison.Ordinal))
                return to["Patient/".Length..].Split('/')[0];
        lock (_lock)
            return _personOf.GetValueOrDefault($"{write.Type}/{write.Id}");
    }
}
