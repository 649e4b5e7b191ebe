using Hl7.Fhir.Model;
using RehabRecords.Host;

namespace RehabRecords.Audit;

/// <summary>Who asked for a person's record on behalf of which organisation, from where.</summary>
/// <param name="Address">The address of the caller's machine.</param>
internal sealed record Asking(Organization Recipient, string Address);

/// <summary>
/// A disclosure, or one that was refused, as AuditEvent. One that took place follows IHE BALP, Privacy Disclosure as the
/// source records it; one that was refused must not be counted as a disclosure and so is another subtype.
/// </summary>
internal static class Disclosure
{
    internal const string Dicom = "http://dicom.nema.org/resources/ontology/DCM";

    public static AuditEvent Of(Asking asking, string person, string about, Identifier document, Consent consent, Settings settings, DateTimeOffset now)
    {
        var entry = Common(asking, person, about, settings, now);
        entry.Subtype = [Disclosed()];
        entry.Outcome = AuditEvent.AuditEventOutcome.N0;
        entry.PurposeOfEvent = [Treatment()];
        entry.Entity.Add(Thing(new ResourceReference { Identifier = document }, "3", "The document that was handed over"));
        entry.Entity.Add(Thing(new ResourceReference($"Consent/{consent.Id}"), "4", "The consent under which it was handed over"));
        entry.Text = Trade.Readable.Of($"The programme {about} of Patient/{person} was handed to {asking.Recipient.Name} under Consent/{consent.Id}.");
        return entry;
    }

    public static AuditEvent Refused(Asking asking, string person, string about, string reason, Settings settings, DateTimeOffset now)
    {
        var entry = Common(asking, person, about, settings, now);
        entry.Subtype = [new Coding("https://profiles.ihe.net/ITI/BALP/CodeSystem/AuthZsubType", "AuthZ-Consent", "Consent based decision")];
        entry.Outcome = AuditEvent.AuditEventOutcome.N8;
        entry.OutcomeDesc = reason;
        entry.Text = Trade.Readable.Of($"Handing the programme {about} of Patient/{person} to {asking.Recipient.Name} was refused. {reason}");
        return entry;
    }

    private static AuditEvent Common(Asking asking, string person, string about, Settings settings, DateTimeOffset now) => new()
    {
        Type = new Coding(Dicom, "110106", "Export"),
        Action = AuditEvent.AuditEventAction.R,
        Recorded = now,
        Agent =
        [
            new()
            {
                Type = new CodeableConcept(Dicom, "110153", "Source Role ID", null),
                Who = Self(settings),
                Requestor = false,
                Network = new() { Address = settings.PublicUrl, Type = AuditEvent.AuditEventAgentNetworkType.N5 },
            },
            new()
            {
                Type = new CodeableConcept(Dicom, "110152", "Destination Role ID", null),
                Who = new ResourceReference($"Organization/{asking.Recipient.Id}", asking.Recipient.Name),
                Requestor = true,
                Network = new() { Address = asking.Address, Type = AuditEvent.AuditEventAgentNetworkType.N2 },
            },
        ],
        Source = new() { Observer = Self(settings) },
        Entity =
        [
            Whose(person),
            Thing(new ResourceReference(about), "4", "The programme"),
        ],
    };

    internal static Coding Disclosed() => new("http://terminology.hl7.org/CodeSystem/iso-21089-lifecycle", "disclose", "Disclose");

    internal static CodeableConcept Treatment() => new("http://terminology.hl7.org/CodeSystem/v3-ActReason", "TREAT");

    internal static AuditEvent.EntityComponent Whose(string person) => new()
    {
        What = new ResourceReference($"Patient/{person}"),
        Type = new Coding("http://terminology.hl7.org/CodeSystem/audit-entity-type", "1", "Person"),
        Role = new Coding("http://terminology.hl7.org/CodeSystem/object-role", "1", "Patient"),
    };

    internal static ResourceReference Self(Settings settings) =>
        new() { Type = "Device", Identifier = new Identifier("urn:ietf:rfc:3986", settings.FhirBase), Display = "RehabRecords" };

    internal static AuditEvent.EntityComponent Thing(ResourceReference what, string role, string words) => new()
    {
        What = what,
        Type = new Coding("http://terminology.hl7.org/CodeSystem/audit-entity-type", "2", "System Object"),
        Role = new Coding("http://terminology.hl7.org/CodeSystem/object-role", role),
        Description = words,
    };
}
