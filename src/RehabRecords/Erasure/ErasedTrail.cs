using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Erasure;

/// <summary>
/// What becomes of the audit trail: an event stays with who did what kind of thing when, and loses whose record it was, what was looked at,
/// what was asked, and from which address.
/// </summary>
internal static class ErasedTrail
{
    private const int ShortestWord = 3;

    public static AuditEvent Redact(RecordVersion version, Func<string, bool> isErased)
    {
        var audit = ResourceReader.Trusted<AuditEvent>(version.Json);
        // Other people's stay: the event is in the trail of their records too.
        audit.Entity = [.. audit.Entity.Where(e => e.What?.Reference is { } what && !isErased(what) && e.Query is null)];
        audit.Contained.Clear();
        audit.Extension.Clear();
        audit.OutcomeDesc = null;
        foreach (var agent in audit.Agent)
        {
            // At home it is the person's own address.
            agent.Network = null;
            if (agent.Who?.Reference is { } who && isErased(who))
                agent.Who = new ResourceReference { Display = "somebody of a record that was erased" };
        }

        audit.Text = Readable.Of("What this event told of a person whose record was erased was taken from it.");
        return audit;
    }

    /// <summary>Finds the events that tell of somebody by the words of a question alone, such as a search by name, or a request that was refused.</summary>
    /// <param name="patients">All versions of the Patients.</param>
    public static Func<RecordVersion, bool> Mentions(IReadOnlyList<Patient> patients)
    {
        var exact = patients.Select(p => p.Id!)
            .Concat(patients.SelectMany(p => p.Identifier).Select(i => i.Value).OfType<string>())
            .Concat(patients.SelectMany(p => p.Telecom).Select(t => t.Value).OfType<string>())
            .Where(v => v.Length > ShortestWord).ToHashSet(StringComparer.OrdinalIgnoreCase);
        var words = patients.SelectMany(p => p.Name).SelectMany(n => Words($"{n.Family} {string.Join(' ', n.Given)} {n.Text}")).Where(w => w.Length >= ShortestWord).ToHashSet(StringComparer.OrdinalIgnoreCase);
        return version =>
        {
            // Read whole only where there is a question.
            if (version.Json.Span.IndexOf("\"query\":\""u8) < 0)
                return false;
            foreach (var entity in ResourceReader.Trusted<AuditEvent>(version.Json).Entity.Where(e => e.Query is not null))
            {
                var asked = Uri.UnescapeDataString(Encoding.UTF8.GetString(entity.Query!).Replace('+', ' '));
                if (exact.Any(v => asked.Contains(v, StringComparison.OrdinalIgnoreCase)) || Words(asked).Any(words.Contains))
                    return true;
            }

            return false;
        };
    }

    private static IEnumerable<string> Words(string text)
    {
        var word = new StringBuilder();
        foreach (var c in text + " ")
            if (char.IsLetterOrDigit(c))
                word.Append(c);
            else if (word.Length > 0)
            {
                yield return word.ToString();
                word.Clear();
            }
    }
}
