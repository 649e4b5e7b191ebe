using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Validation;
using RehabRecords.Progress;

namespace RehabRecords.Exchange;

/// <summary>
/// The document that is handed over. Its text can be read from top to bottom by anybody; its entries are the record itself,
/// each under its address here and in its version here. The same record for the same organisation gives the same bytes.
/// </summary>
internal static class ExchangeBundle
{
    public static Bundle Of(ExchangeContent content, Organization recipient, Consent consent, string fhirBase)
    {
        content.Add(consent);
        content.Add(recipient);
        var held = content.Everything;
        var at = held.Max(r => r.Meta!.LastUpdated!.Value);
        var identifier = Fingerprint(held, recipient, fhirBase);
        var software = Software();
        var cover = ExchangeCover.Of(content, recipient, consent, software, address => $"{fhirBase}/{address}");
        cover.Id = identifier["urn:uuid:".Length..];
        cover.Meta = new Meta { LastUpdated = at, VersionId = "1" };
        cover.Identifier = new Identifier(Origin.System, identifier);
        cover.DateElement = new FhirDateTime(at);
        return new Bundle
        {
            Type = Bundle.BundleType.Document,
            Meta = new Meta { LastUpdated = at },
            Identifier = new Identifier(Origin.System, identifier),
            Timestamp = at,
            Entry =
            [
                new() { FullUrl = identifier, Resource = cover },
                new() { FullUrl = $"urn:uuid:{software.Id}", Resource = software },
                .. held.Select(r => new Bundle.EntryComponent { FullUrl = $"{fhirBase}/{r.TypeName}/{r.Id}", Resource = Prepared(r, content, fhirBase) }),
            ],
        };
    }

    /// <summary>A copy that says where it was made, and whose references lead somewhere for whoever holds only this document.</summary>
    private static Resource Prepared(Resource resource, ExchangeContent content, string fhirBase)
    {
        var copy = (Resource)resource.DeepCopy();
        Origin.Mark(copy, $"{fhirBase}/{copy.TypeName}/{copy.Id}");
        foreach (var reference in References.In(copy))
        {
            var to = LiteralReference.Of(reference.Reference!);
            if (to.IsLocal && !(content.Holds(to.Unversioned) && (to.Version is null || content.HoldsVersion(to.Unversioned, to.Version))))
                reference.Reference = $"{fhirBase}/{reference.Reference}";
        }

        return copy;
    }

    /// <summary>Versions never change, so the list of versions, with who gets them from where, is the content.</summary>
    private static string Fingerprint(IEnumerable<Resource> held, Organization recipient, string fhirBase)
    {
        var text = new StringBuilder("exchange\n").Append(fhirBase).Append('\n').Append(recipient.Id).Append('\n').AppendJoin('\n', held.Select(r => r.Evidence()));
        Span<byte> bytes = SHA256.HashData(Encoding.UTF8.GetBytes(text.ToString())).AsSpan(0, 16);
        // RFC 9562 version 8: a UUID whose bits are made by the application's own rule, here a hash.
        bytes[6] = (byte)((bytes[6] & 0x0F) | 0x80);
        bytes[8] = (byte)((bytes[8] & 0x3F) | 0x80);
        return $"urn:uuid:{new Guid(bytes, bigEndian: true):D}";
    }

    private static Device Software() => new()
    {
        Id = Origin.Named("https://rehabrecords.example/software/exchange"),
        Status = Device.FHIRDeviceStatus.Active,
        DeviceName = [new Device.DeviceNameComponent { Name = "RehabRecords exchange software", Type = DeviceNameType.UserFriendlyName }],
        Version = [new Device.VersionComponent { Value = Terms.Canonical.Version }],
        Text = Trade.Readable.Of("Software that put this document together from the record. It changes nothing in what it sends."),
    };
}
