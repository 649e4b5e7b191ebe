using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Exchange;

/// <summary>
/// Where a resource was first made. Its address there is kept as a business identifier wherever R4 has room for one, so that
/// the same thing is recognised whichever way it comes back.
/// </summary>
internal static class Origin
{
    /// <summary>R4's system for identifiers that are addresses.</summary>
    public const string System = "urn:ietf:rfc:3986";

    /// <summary>The namespace in which ids are made from addresses (RFC 9562, the one for URLs).</summary>
    private static readonly Guid Urls = new("6ba7b811-9dad-11d1-80b4-00c04fd430c8");

    /// <summary>The identifier that says where a resource was made; null for one of our own and for types without room for it.</summary>
    public static string? Marked(Resource resource) =>
        Identifiers(resource)?.Find(i => i.System == System && LiteralReference.Of(i.Value ?? "") is { Type: { } type, Version: null, Base.Length: > 0 } && type == resource.TypeName)?.Value;

    public static void Mark(Resource resource, string address)
    {
        if (Marked(resource) is not null)
            return;
        var identifier = new Identifier(System, address);
        switch (resource)
        {
            case AdverseEvent { Identifier: null } harm:
                harm.Identifier = identifier;
                break;
            case QuestionnaireResponse { Identifier: null } answers:
                answers.Identifier = identifier;
                break;
            case IIdentifiable<List<Identifier>> many:
                many.Identifier.Add(identifier);
                break;
        }
    }

    public static void Unmark(Resource resource, string address)
    {
        switch (resource)
        {
            case AdverseEvent { Identifier: { } one } harm when one.System == System && one.Value == address:
                harm.Identifier = null;
                break;
            case QuestionnaireResponse { Identifier: { } one } answers when one.System == System && one.Value == address:
                answers.Identifier = null;
                break;
            case IIdentifiable<List<Identifier>> many:
                many.Identifier.RemoveAll(i => i.System == System && i.Value == address);
                break;
        }
    }

    /// <summary>All business identifiers; null for a type that has none.</summary>
    public static List<Identifier>? Identifiers(Resource resource) => resource switch
    {
        IIdentifiable<List<Identifier>> many => many.Identifier,
        IIdentifiable<Identifier> one => one.Identifier is null ? [] : [one.Identifier],
        _ => null,
    };

    /// <summary>
    /// The id under which something from elsewhere is kept here. A UUID is nobody else's, so it is kept, and what refers to it
    /// by text stays true; any other id is another place's own numbering, and one is made from the address.
    /// </summary>
    public static string LocalId(string address, string idThere) => Guid.TryParseExact(idThere, "D", out _) ? idThere : Named(address);

    /// <summary>A name-based UUID (version 5): the same for the same text, wherever it is made.</summary>
    public static string Named(string text)
    {
        var bytes = Urls.ToByteArray(bigEndian: true).Concat(Encoding.UTF8.GetBytes(text)).ToArray();
#pragma warning disable CA5350 // RFC 9562 asks for SHA-1 here; it names, and protects nothing.
        Span<byte> hash = SHA1.HashData(bytes).AsSpan(0, 16);
#pragma warning restore CA5350
        hash[6] = (byte)((hash[6] & 0x0F) | 0x50);
        hash[8] = (byte)((hash[8] & 0x3F) | 0x80);
        return new Guid(hash, bigEndian: true).ToString("D");
    }
}
