using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Access;

/// <summary>Who calls: a person who signed in, a system, or somebody at home with a link.</summary>
/// <param name="Organisation">Key of the organisation whose record is meant.</param>
/// <param name="Id">The subject at the issuer, or the id of the client.</param>
/// <param name="Name">As it is shown and recorded.</param>
public sealed record Caller(string Organisation, Role Role, string Id, string Name)
{
    /// <summary>Whoever calls while nobody has to sign in.</summary>
    public static Caller OfDemo { get; } = new(Stores.Only, Role.Therapist, "demo", "Anybody (demo)") { IsAnybody = true };

    /// <summary>Somebody at home; the link says for which programme, and nothing else is reached by it.</summary>
    public static Caller AtHome(string organisation) => new(organisation, Role.SupportWorker, "home-link", "Link for reporting from home") { Link = true };

    public bool IsAnybody { get; private init; }

    public bool Link { get; private init; }

    /// <summary>Null for a person, who is limited by the role alone.</summary>
    public IReadOnlyList<Scope>? Scopes { get; init; }

    /// <summary>Ids of the people whose records may be seen; null for everybody of the organisation.</summary>
    public IReadOnlySet<string>? People { get; init; }

    /// <summary>The professional role in words, of a person.</summary>
    public string? Profession { get; init; }

    public string? RegistrationBody { get; init; }

    public string? Registration { get; init; }

    /// <summary>The token by which the caller came, for the audit trail.</summary>
    public string? TokenId { get; init; }

    public bool IsPerson => Scopes is null && !IsAnybody && !Link;

    public bool May(Act act) => IsAnybody || (!Link && RoleTable.Allows(Role, act) && (Scopes is null || act == Act.WriteResources || Scopes.Any(s => s.Covers(act))));

    /// <summary>Whether a type may be touched in a way under /fhir: c, r, u, d or s.</summary>
    public bool May(string type, char letter)
    {
        if (IsAnybody)
            return true;
        if (Link || !RoleTable.Allows(Role, letter is 'r' or 's' ? type == "AuditEvent" ? Act.ReadAudit : Act.ReadRecord : Act.WriteResources))
            return false;
        return Scopes is null ? letter is 'r' or 's' : Scopes.Any(s => s.Covers(type, letter));
    }
}

/// <summary>The caller of this request, and the record that is theirs. Until somebody is known, there is no record.</summary>
public sealed class Calling(Stores stores, Audit.Witness witness, Settings settings)
{
    private Caller? _caller = settings.Access.IsDemo ? Caller.OfDemo : null;
    private RecordStore? _store;

    public bool IsKnown => _caller is not null;

    public Caller Caller => _caller ?? throw new InvalidOperationException("Nobody has been identified for this request.");

    /// <summary>The record of the caller's organisation, as much of it as the caller may see. It outlives the request, so it is not closed with it.</summary>
    internal RecordStore Store => _store ??= stores.Of(Caller.Organisation).View(Caller.People, witness.IsOn ? witness.Saw : null);

    internal void Is(Caller caller) => _caller = _caller is null || caller == _caller ? caller : throw new InvalidOperationException("A request has one caller.");

    /// <exception cref="RefusedException">NotPermitted, with what is missing.</exception>
    public void Require(Act act)
    {
        if (!Caller.May(act))
            throw NotAllowed(act);
    }

    /// <inheritdoc cref="Require(Act)"/>
    public void Require(string type, char letter)
    {
        if (!Caller.May(type, letter))
            throw NotAllowed(type, letter);
    }

    private RefusedException NotAllowed(Act act) => Refused(
        !RoleTable.Allows(Caller.Role, act) || Caller.Link
            ? $"This needs the right to {Words(act)}, which the role {RoleTable.Word(Caller.Role)} does not have."
            : $"This needs the scope api/{RoleTable.Word(act)}, which the token does not have. Ask for it with the next token; it must be among those the client is registered with.");

    private RefusedException NotAllowed(string type, char letter) => Refused(Caller.Scopes is null
        ? $"This needs the right to {Letter(letter)} {type} under /fhir, which the role {RoleTable.Word(Caller.Role)} does not have."
        : $"This needs the scope system/{type}.{letter} ({Letter(letter)}), which the token does not have, for a client of the role {RoleTable.Word(Caller.Role)}.");

    internal static RefusedException Refused(string message) => new(Refusal.NotPermitted, OperationOutcome.IssueType.Forbidden, message);

    private static string Words(Act act) => RoleTable.Word(act).Replace('-', ' ');

    private static string Letter(char letter) => letter switch
    {
        'c' => "create",
        'r' => "read",
        'u' => "update",
        'd' => "delete",
        _ => "search",
    };
}
