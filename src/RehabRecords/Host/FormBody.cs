using Hl7.Fhir.Model;
using RehabRecords.Fhir;

namespace RehabRecords.Host;

/// <summary>The fields of a form that was sent.</summary>
internal static class FormBody
{
    /// <exception cref="RefusedException">Malformed: the framework throws at what it cannot read, and would let it look like a fault of the service.</exception>
    public static async Task<IFormCollection> ReadAsync(HttpRequest request, string remedy, CancellationToken ct)
    {
        try
        {
            return await request.ReadFormAsync(ct);
        }
        catch (Exception bad) when (bad is InvalidDataException or InvalidOperationException)
        {
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Structure, $"The form cannot be read: it has escapes that are no UTF-8 text, or too many or too long fields. {remedy}");
        }
    }
}
