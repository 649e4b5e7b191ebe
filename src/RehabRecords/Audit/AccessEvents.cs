using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Audit;

/// <summary>
/// AuditEvents of reads, queries, writes and refusals, as IHE's Basic Audit Log Patterns have them. A refusal follows none
/// of those, since they are for what took place.
/// </summary>
internal sealed class AccessEvents(Settings settings)
{
    private const string Dicom = "http://dicom.nema.org/resources/ontology/DCM";
    private const string EntityType = "http://terminology.hl7.org/CodeSystem/audit-entity-type";
    private const string ObjectRole = "http://terminology.hl7.org/CodeSystem/object-role";

    /// <summary>People or resources named in one event.</summary>
    private const int MostEntities = 500;

    /// <summary>
    /// Of one answer. The profile asks for an event for each person in it. A list of a whole caseload would become thousands a day for each clinician,
    /// so from here on people share events, and are found by their names in them all the same.
    /// </summary>
    internal const int MostAlone = 100;

    /// <summary>Their ids follow from the access, so that each is written once however often that is tried.</summary>
    public IEnumerable<AuditEvent> Of(NotedAccess access) => (access switch
    {
        { Refusal: { } reason } => [Refused(access, reason)],
        { What: { } what } => [Read(access, what)],
        { People.Count: 0 } => [Query(access, [])],
        _ => access.People.Chunk(access.People.Count <= MostAlone ? 1 : MostEntities).Select(some => Query(access, some)),
    }).Select((audit, place) =>
    {
        audit.Id = place == 0 ? access.Id : $"{access.Id}-{place}";
        return audit;
    });

    /// <summary>One for each person and each kind of change; the first thing that was changed is its object, all others stand beside it.</summary>
    /// <param name="changes">Versioned addresses of what was written.</param>
    public AuditEvent Wrote(AuditEvent.AuditEventAction action, string? person, IReadOnlyList<string> changes, Who who, string requestId, string address, DateTimeOffset at)
    {
        var (code, words, client, server) = action switch
        {
            AuditEvent.AuditEventAction.C => ("create", "Created", Code("110153", "Source Role ID"), Code("110152", "Destination Role ID")),
            AuditEvent.AuditEventAction.U => ("update", "Changed", Code("110153", "Source Role ID"), Code("110152", "Destination Role ID")),
            _ => ("delete", "Deleted", Code("110150", "Application"), new CodeableConcept("http://terminology.hl7.org/CodeSystem/provenance-participant-type", "custodian", "Custodian", null)),
        };
        var audit = Event(code, action, who, client, server, requestId, address, at);
        audit.Entity.Add(Data(changes[0]));
        audit.Entity.AddRange(changes.Skip(1).Take(MostEntities).Select(Other));
        if (person is not null)
            audit.Entity.Add(Patient(person));
        audit.Text = Trade.Readable.Of($"{words} by {who.Name}: {changes.Count} {(changes.Count == 1 ? "resource" : "resources")}{(person is null ? "" : $" of Patient/{person}")}.");
        return audit;
    }

    /// <summary>That a record was erased: whose it was is not told, and the digests are, by which what is left of the trail can be checked.</summary>
    public AuditEvent Erased(Tombstone tombstone, Who who, string requestId, string address)
    {
        var audit = Event("delete", AuditEvent.AuditEventAction.D, who, Code("110150", "Application"), new CodeableConcept("http://terminology.hl7.org/CodeSystem/provenance-participant-type", "custodian", "Custodian", null), requestId, address, tombstone.At);
        audit.Subtype.Add(new Coding("http://terminology.hl7.org/CodeSystem/iso-21089-lifecycle", "destroy", "Destroy/Delete Record Lifecycle Event"));
        audit.Entity.Add(new AuditEvent.EntityComponent
        {
            Type = new Coding(EntityType, "4", "Other"),
            Name = $"erasure {tombstone.Id}",
            Detail =
            [
                Detail("basis", tombstone.Basis),
                Detail("by", tombstone.By),
                Detail("digest", tombstone.Digest),
                Detail("audit-digest", tombstone.AuditDigest),
            ],
        });
        audit.Text = Trade.Readable.Of($"The record of a person was erased by {tombstone.By} ({tombstone.Basis}): {tombstone.Versions} versions. What {tombstone.AuditEvents} events of this trail told of the person was taken from them.");
        return audit;
    }

    private static AuditEvent.DetailComponent Detail(string type, string value) => new() { Type = type, Value = new FhirString(value) };

    private AuditEvent Read(NotedAccess access, string what)
    {
        var audit = Event(
            what.Contains("/_history/", StringComparison.Ordinal) && access.Request.Contains("/_history/", StringComparison.Ordinal) ? "vread" : "read", AuditEvent.AuditEventAction.R, access.Who,
            Code("110152", "Destination Role ID"), Code("110153", "Source Role ID"), access.RequestId, access.Address, access.At);
        audit.Entity.Add(Data(what));
        audit.Entity.AddRange(access.People.Select(Patient));
        audit.Text = Trade.Readable.Of($"Read by {access.Who.Name}: {what}.");
        return audit;
    }

    private AuditEvent Query(NotedAccess access, string[] people)
    {
        var audit = Event("search", AuditEvent.AuditEventAction.E, access.Who, Code("110153", "Source Role ID"), Code("110152", "Destination Role ID"), access.RequestId, access.Address, access.At);
        audit.Entity.Add(new AuditEvent.EntityComponent
        {
            Type = new Coding(EntityType, "2", "System Object"),
            Role = new Coding(ObjectRole, "24", "Query"),
            Query = Encoding.UTF8.GetBytes(access.Request),
        });
        audit.Entity.AddRange(people.Select(Patient));
        audit.Text = Trade.Readable.Of($"Asked by {access.Who.Name}, answered from the record{(people.Length == 1 ? $" of Patient/{people[0]}" : $"s of {people.Length} people")}.");
        return audit;
    }

    private AuditEvent Refused(NotedAccess access, string reason)
    {
        var audit = Event("search", AuditEvent.AuditEventAction.E, access.Who, Code("110153", "Source Role ID"), Code("110152", "Destination Role ID"), access.RequestId, access.Address, access.At);
        audit.Subtype = [new Coding("http://hl7.org/fhir/restful-interaction", access.Request.Split(' ')[0] switch
        {
            "POST" => "create",
            "PUT" => "update",
            "PATCH" => "patch",
            "DELETE" => "delete",
            _ => "read",
        })];
        audit.Action = null;
        audit.Outcome = AuditEvent.AuditEventOutcome.N4;
        audit.OutcomeDesc = reason;
        audit.Entity.Add(new AuditEvent.EntityComponent
        {
            Type = new Coding(EntityType, "2", "System Object"),
            Role = new Coding(ObjectRole, "24", "Query"),
            Query = Encoding.UTF8.GetBytes(access.Request),
        });
        audit.Text = Trade.Readable.Of($"Refused to {access.Who.Name}.");
        return audit;
    }

    private AuditEvent Event(
        string interaction, AuditEvent.AuditEventAction action, Who who, CodeableConcept clientRole, CodeableConcept serverRole, string requestId, string address, DateTimeOffset at)
    {
        var audit = new AuditEvent
        {
            Type = new Coding("http://terminology.hl7.org/CodeSystem/audit-event-type", "rest", "RESTful Operation"),
            Subtype = [new Coding("http://hl7.org/fhir/restful-interaction", interaction)],
            Action = action,
            Recorded = at,
            Outcome = AuditEvent.AuditEventOutcome.N0,
            Agent =
            [
                new()
                {
                    Type = clientRole,
                    // A person works through the pages of this service; a system is the client itself.
                    Who = who.Kind == "system" ? Device(Terms.Canonical.Identifier("client"), who.Id, who.Name) : Self(),
                    Requestor = who.Kind == "system",
                    Network = new() { Address = address, Type = AuditEvent.AuditEventAgentNetworkType.N2 },
                },
                new()
                {
                    Type = serverRole,
                    Who = Self(),
                    Requestor = false,
                    Network = new() { Address = settings.PublicUrl, Type = AuditEvent.AuditEventAgentNetworkType.N5 },
                },
            ],
            Source = new() { Observer = Self() },
            Entity =
            [
                new()
                {
                    What = new ResourceReference { Identifier = new Identifier { Value = requestId } },
                    Type = new Coding("https://profiles.ihe.net/ITI/BALP/CodeSystem/BasicAuditEntityType", "XrequestId"),
                },
            ],
        };
        if (who.Kind != "system")
            audit.Agent.Add(new()
            {
                Type = new CodeableConcept("http://terminology.hl7.org/CodeSystem/v3-ParticipationType", "IRCP", "information recipient", null),
                Who = new ResourceReference { Identifier = new Identifier(Terms.Canonical.Identifier("user"), who.Id), Display = who.Name },
                Role = [new CodeableConcept { Text = who.Role }],
                Requestor = true,
            });
        if (who.Token is { } token)
            audit.Agent[0].Policy = [$"urn:token:{token}"];
        return audit;
    }

    private ResourceReference Self() => Device("urn:ietf:rfc:3986", settings.FhirBase, "RehabRecords");

    private static ResourceReference Device(string system, string value, string name) => new() { Type = "Device", Identifier = new Identifier(system, value), Display = name };

    private static CodeableConcept Code(string code, string words) => new(Dicom, code, words, null);

    private static AuditEvent.EntityComponent Patient(string id) => new()
    {
        What = new ResourceReference($"Patient/{id}"),
        Type = new Coding(EntityType, "1", "Person"),
        Role = new Coding(ObjectRole, "1", "Patient"),
    };

    private static AuditEvent.EntityComponent Data(string address) => new()
    {
        What = new ResourceReference(address),
        Type = new Coding(EntityType, "2", "System Object"),
        Role = new Coding(ObjectRole, "4", "Domain Resource"),
    };

    private static AuditEvent.EntityComponent Other(string address) => new()
    {
        What = new ResourceReference(address),
        Type = new Coding(EntityType, "4", "Other"),
        Role = new Coding(ObjectRole, "4", "Domain Resource"),
    };
}
