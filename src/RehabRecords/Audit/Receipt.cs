using Hl7.Fhir.Model;
using RehabRecords.Host;

namespace RehabRecords.Audit;

/// <summary>
/// That another place's disclosure arrived here, as AuditEvent: the counterpart of <see cref="Disclosure"/>, by IHE BALP, Privacy
/// Disclosure as the recipient records it.
/// </summary>
internal static class Receipt
{
    /// <param name="sender">Address of the record it was sent from, as far as the document tells.</param>
    /// <param name="caller">The address of the machine that sent it.</param>
    /// <param name="original">The document as it came in.</param>
    /// <param name="document">By which the sender knows the document.</param>
    public static AuditEvent Of(string sender, string caller, string person, string original, Identifier? document, Settings settings, DateTimeOffset now) => new()
    {
        Type = new Coding(Disclosure.Dicom, "110107", "Import"),
        Subtype = [Disclosure.Disclosed()],
        Action = AuditEvent.AuditEventAction.C,
        Recorded = now,
        Outcome = AuditEvent.AuditEventOutcome.N0,
        PurposeOfEvent = [Disclosure.Treatment()],
        Agent =
        [
            new()
            {
                Type = new CodeableConcept(Disclosure.Dicom, "110153", "Source Role ID", null),
                Who = new ResourceReference { Type = "Device", Identifier = new Identifier("urn:ietf:rfc:3986", sender), Display = sender },
                Requestor = true,
                Network = new() { Address = caller, Type = AuditEvent.AuditEventAgentNetworkType.N2 },
            },
            new()
            {
                Type = new CodeableConcept(Disclosure.Dicom, "110152", "Destination Role ID", null),
                Who = Disclosure.Self(settings),
                Requestor = false,
                Network = new() { Address = settings.PublicUrl, Type = AuditEvent.AuditEventAgentNetworkType.N5 },
            },
        ],
        Source = new() { Observer = Disclosure.Self(settings) },
        Entity =
        [
            Disclosure.Whose(person),
            Disclosure.Thing(new ResourceReference(original) { Identifier = (Identifier?)document?.DeepCopy() }, "3", "The document as it came in"),
        ],
        Text = Trade.Readable.Of($"A document about Patient/{person} was taken in from {sender}."),
    };
}
