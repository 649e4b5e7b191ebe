using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Validation;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>One resource that came in.</summary>
/// <param name="FullUrl">Its address where it comes from, or a urn:uuid.</param>
/// <param name="Origin">Its address where it was first made; the same whichever way it travels.</param>
/// <param name="Version">Its version where it comes from; null when it does not say.</param>
internal sealed record Incoming(Resource Resource, string FullUrl, string Origin, int? Version, int Place)
{
    public string Type => Resource.TypeName;

    /// <summary>The address of exactly this version, where it comes from.</summary>
    public string Source => Version is { } version && FullUrl.StartsWith("http", StringComparison.Ordinal) ? $"{FullUrl}/_history/{version}" : FullUrl;

    public string Path => $"Bundle.entry[{Place}].resource";
}

/// <summary>A Bundle that came in, with its entries by the addresses by which they name each other.</summary>
/// <param name="Sender">The base address of the record it comes from.</param>
internal sealed record IncomingBundle(Bundle Bundle, string Sender, IReadOnlyList<Incoming> Entries)
{
    /// <summary>Versions that go along only because something cites them exactly.</summary>
    public IReadOnlyList<Incoming> Earlier { get; init; } = [];

    /// <summary>More than a long course of rehabilitation has.</summary>
    public const int MostEntries = 10_000;

    /// <summary>What another record may tell us. Documents stay with the document, and what was looked at there is not ours to keep.</summary>
    private static readonly HashSet<string> Taken =
    [
        "Patient", "RelatedPerson", "Practitioner", "PractitionerRole", "Organization", "CareTeam", "EpisodeOfCare", "ActivityDefinition", "PlanDefinition", "CarePlan",
        "ServiceRequest", "Procedure", "Observation", "Goal", "Communication", "Task", "Flag", "AdverseEvent", "Consent", "Provenance", "Device", "QuestionnaireResponse",
    ];

    public Patient Person => (Patient)Entries.Single(e => e.Resource is Patient).Resource;

    /// <exception cref="RefusedException">Malformed or Invalid: not an exchange, and which entry makes it none.</exception>
    public static IncomingBundle Of(Bundle bundle)
    {
        var issues = new List<Issue>();
        if (bundle.Type is not (Bundle.BundleType.Document or Bundle.BundleType.Collection))
            throw Wrong($"The Bundle is a {bundle.TypeElement?.JsonValue}; send a document or a collection. A transaction goes to /fhir.", "Bundle.type");
        if (bundle.Entry.Count > MostEntries)
            throw new RefusedException(Refusal.TooLarge, OperationOutcome.IssueType.TooCostly, $"The Bundle has {bundle.Entry.Count} entries; at most {MostEntries} are taken at once.", "Bundle.entry");
        var cover = bundle.Entry.Select(e => e.Resource).OfType<Composition>().FirstOrDefault();
        var software = cover?.Author.Select(a => a.Reference).ToHashSet() ?? [];
        var entries = new List<Incoming>();
        for (var i = 0; i < bundle.Entry.Count; i++)
        {
            var (entry, path) = (bundle.Entry[i], $"Bundle.entry[{i}]");
            if (entry.Resource is not { } resource || entry.FullUrl is not { Length: > 0 } fullUrl)
            {
                issues.Add(Issue.Error(OperationOutcome.IssueType.Required, "The entry has no resource or no fullUrl; give both.", path));
                continue;
            }

            // The cover and the software that wrote it are the document's own; they are kept with the original.
            if (resource is Composition || (resource is Device && software.Contains(fullUrl)))
                continue;
            if (!Taken.Contains(resource.TypeName))
                issues.Add(Issue.Error(OperationOutcome.IssueType.NotSupported, $"{resource.TypeName} is not taken in by exchange. Leave the entry out.", path));
            else if (resource is FhirTask task && ConflictTask.IsOne(task))
                issues.Add(Issue.Error(OperationOutcome.IssueType.NotSupported, "A choice between two versions is asked for where they meet, and is not taken in from elsewhere. Leave the entry out.", path));
            else if (LiteralReference.Of(fullUrl) is { Base.Length: > 0 } at ? at.Type != resource.TypeName || at.Id != resource.Id : !fullUrl.StartsWith("urn:uuid:", StringComparison.Ordinal))
                issues.Add(Issue.Error(OperationOutcome.IssueType.Value, $"The fullUrl '{fullUrl}' does not fit the resource: give [base]/{resource.TypeName}/{resource.Id}, or a urn:uuid.", path + ".fullUrl"));
            else
                entries.Add(new Incoming(resource, fullUrl, OriginOf(resource, fullUrl), int.TryParse(resource.Meta?.VersionId, NumberStyles.None, CultureInfo.InvariantCulture, out var v) ? v : null, i));
        }

        if (issues.Count > 0)
            throw new RefusedException(Refusal.Invalid, issues);
        // An earlier version goes along only because something cites it; what is taken in is the latest.
        var latest = entries.GroupBy(e => e.FullUrl).Select(g => g.OrderByDescending(e => e.Version ?? int.MaxValue).First()).ToList();
        if (latest.Where(e => e.Resource is Patient).ToList() is not [_])
            throw Wrong($"The Bundle holds {latest.Count(e => e.Resource is Patient)} Patients; an exchange is about exactly one person.", "Bundle.entry");
        if (latest.GroupBy(e => e.Origin).FirstOrDefault(g => g.Count() > 1) is { } twice)
            throw Wrong($"The Bundle holds {twice.Key} twice (entries {string.Join(" and ", twice.Select(e => e.Place))}); keep one.", $"Bundle.entry[{twice.Last().Place}]");
        return new IncomingBundle(bundle, SenderOf(latest), latest) { Earlier = [.. entries.Except(latest)] };
    }

    private static string OriginOf(Resource resource, string fullUrl)
    {
        if (Exchange.Origin.Marked(resource) is { } marked)
            return marked;
        // A type without room for the identifier tells by meta.source where it came from.
        return Exchange.Origin.Identifiers(resource) is null && LiteralReference.Of(resource.Meta?.Source ?? "") is { Base.Length: > 0 } source && source.Type == resource.TypeName
            ? source.Unversioned : fullUrl;
    }

    /// <summary>The address most entries lie under; a place that has no address is known by its document alone.</summary>
    private static string SenderOf(IEnumerable<Incoming> entries) =>
        entries.Select(e => LiteralReference.Of(e.FullUrl)).Where(r => r.Base.Length > 0).GroupBy(r => r.Base.TrimEnd('/')).OrderByDescending(g => g.Count()).FirstOrDefault()?.Key ?? "urn:unknown";

    private static RefusedException Wrong(string message, string expression) => new(Refusal.Invalid, OperationOutcome.IssueType.BusinessRule, message, expression);
}
