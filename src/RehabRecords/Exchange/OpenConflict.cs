using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>A conflict as it stands now: what was asked, what came in, and what becomes of each part of it.</summary>
/// <param name="Steps">Empty once it is decided.</param>
internal sealed record OpenConflict(FhirTask Task, IncomingBundle Incoming, IReadOnlyList<Step> Steps)
{
    /// <summary>Which versions of ours it was compared with; null once it is decided.</summary>
    public string? State => Steps.Count == 0 ? null : StateOf(Steps);

    /// <summary>The same whatever is decided, and another as soon as anything of ours that it touches is changed.</summary>
    public static string StateOf(IReadOnlyList<Step> steps)
    {
        var versions = steps.Select(s => string.Create(CultureInfo.InvariantCulture, $"{s.Entry.Type}/{s.Twin.Id}/{s.Twin.Version}")).Order(StringComparer.Ordinal);
        return Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(string.Join('\n', versions))))[..16];
    }
}
