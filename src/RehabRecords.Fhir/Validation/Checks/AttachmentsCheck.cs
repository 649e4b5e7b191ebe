using System.Security.Cryptography;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation.Checks;

/// <summary>An attachment is as long as it says and has the digest it says.</summary>
internal sealed class AttachmentsCheck : IResourceCheck
{
    public void Check(ResourceView view, IssueList issues)
    {
        foreach (var (at, attachment) in view.All<Attachment>())
        {
            if (attachment.Data is not { } data)
                continue;
            if (attachment.TryGetValue("size", out var stated) && stated is UnsignedInt { Value: { } size } && size != data.Length)
                issues.Error(OperationOutcome.IssueType.Value, $"The attachment says it has {size} bytes, but its data has {data.Length}.", at);
#pragma warning disable CA5350 // R4 defines Attachment.hash as SHA-1; it detects damage, it does not protect.
            if (attachment.Hash is { } hash && !hash.AsSpan().SequenceEqual(SHA1.HashData(data)))
#pragma warning restore CA5350
                issues.Error(OperationOutcome.IssueType.Value, "The hash of the attachment is not the SHA-1 digest of its data.", at);
        }
    }
}
