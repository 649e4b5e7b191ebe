using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// A resource of this record may be called by its whole address, <c>https://clinic.example/fhir/Patient/1</c>, or by <c>Patient/1</c>; both mean the
/// same. Only the second is kept: by it whatever is about a person is found to be, whoever wrote it and whatever the service is called one day.
/// </summary>
internal static class OwnAddresses
{
    /// <summary>Changes the references of what is to be written, and the addresses of attachments that are kept as a Binary. A document keeps its own.</summary>
    public static void MakeRelative(WriteSet set, string? ownBase)
    {
        if (ownBase is null)
            return;
        foreach (var resource in set.Writes.Select(w => w.Resource).OfType<Resource>().Where(r => r is not Bundle))
        {
            var view = ResourceView.Of(resource);
            foreach (var (_, reference) in view.All<ResourceReference>())
                if (Relative(reference.Reference, ownBase) is { } address)
                    reference.Reference = address;
            foreach (var (_, attachment) in view.All<Attachment>())
                if (Relative(attachment.Url, ownBase) is { } address && address.StartsWith("Binary/", StringComparison.Ordinal))
                    attachment.Url = address;
        }
    }

    private static string? Relative(string? address, string ownBase) =>
        address is not null && ReferenceTypes.WithoutBase(address, ownBase) is var local && local.Length < address.Length && ReferenceTypes.Split(local) is { Base: "" } ? local : null;
}
