using System.Globalization;
using Hl7.Fhir.Model;

namespace RehabRecords.Exchange;

/// <summary>What became of an exchange that was taken in.</summary>
public sealed record ImportAnswer
{
    /// <summary>taken-in, unchanged, or conflict: part of it waits for a decision.</summary>
    public required string Outcome { get; init; }

    public required string Person { get; init; }

    /// <summary>The programmes it holds.</summary>
    public IReadOnlyList<string> Programmes { get; init; } = [];

    /// <summary>Where it comes from.</summary>
    public required string Sender { get; init; }

    /// <summary>The identifier of the document.</summary>
    public string? Document { get; init; }

    public IReadOnlyList<ImportLine> Created { get; init; } = [];

    public IReadOnlyList<ImportLine> Updated { get; init; } = [];

    public IReadOnlyList<ImportLine> Unchanged { get; init; } = [];

    public IReadOnlyList<ConflictLine> Conflicts { get; init; } = [];

    /// <summary>What is taken in once somebody has decided.</summary>
    public IReadOnlyList<ImportLine> Waiting { get; init; } = [];

    /// <summary>The task that asks a clinician to decide; null where there is nothing to decide.</summary>
    public string? Task { get; init; }

    /// <summary>Where it is kept what came of what; null when nothing was stored.</summary>
    public string? Provenance { get; init; }

    /// <summary>The document as it came in, byte for byte; null when nothing was stored.</summary>
    public string? Original { get; init; }

    public IReadOnlyList<TypeCount> Counts { get; init; } = [];

    internal static ImportAnswer Of(IncomingBundle incoming, IReadOnlyList<Step> steps, string? task, string? provenance, string? original) => new()
    {
        Outcome = steps.Any(s => s.Fate is Fate.Conflict or Fate.Waits) ? "conflict" : steps.Any(s => s.Write is not null) ? "taken-in" : "unchanged",
        Person = Address(steps.Single(s => s.Entry.Resource is Patient)),
        Programmes = [.. steps.Where(s => s.Entry.Resource is CarePlan && s.Fate != Fate.Waits).Select(Address)],
        Sender = incoming.Sender,
        Document = incoming.Bundle.Identifier?.Value,
        Created = Lines(steps, Fate.Created),
        Updated = Lines(steps, Fate.Updated),
        Unchanged = Lines(steps, Fate.Unchanged),
        Conflicts = [.. steps.Where(s => s.Fate == Fate.Conflict).Select(ConflictLine.Of)],
        Waiting = Lines(steps, Fate.Waits),
        Task = task,
        Provenance = provenance,
        Original = original,
        Counts = [.. steps.GroupBy(s => s.Entry.Type).OrderBy(g => g.Key, StringComparer.Ordinal).Select(g => new TypeCount(
            g.Key, g.Count(), g.Count(s => s.Fate == Fate.Created), g.Count(s => s.Fate == Fate.Updated), g.Count(s => s.Fate == Fate.Unchanged),
            g.Count(s => s.Fate == Fate.Conflict), g.Count(s => s.Fate == Fate.Waits)))],
    };

    private static string Address(Step step) => $"{step.Entry.Type}/{step.Twin.Id}";

    private static IReadOnlyList<ImportLine> Lines(IEnumerable<Step> steps, Fate fate) =>
        [.. steps.Where(s => s.Fate == fate).Select(s => new ImportLine(Address(s), s.Entry.Source, s.Entry.Origin, s.Why))];
}

/// <param name="Resource">Its address here.</param>
/// <param name="From">Its address and version where it comes from.</param>
/// <param name="Origin">Its address where it was first made.</param>
public sealed record ImportLine(string Resource, string From, string Origin, string? Why);

/// <param name="Ours">Our version.</param>
/// <param name="Theirs">Their version.</param>
/// <param name="Differs">The elements that are not the same.</param>
public sealed record ConflictLine(string Resource, string From, string Ours, string? Theirs, IReadOnlyList<string> Differs, string Why)
{
    internal static ConflictLine Of(Step step) => new(
        $"{step.Entry.Type}/{step.Twin.Id}", step.Entry.Source, step.Twin.Version.ToString(CultureInfo.InvariantCulture),
        step.Entry.Version?.ToString(CultureInfo.InvariantCulture), step.Differs, step.Why ?? "Changed here and there.");
}

public sealed record TypeCount(string Type, int Received, int Created, int Updated, int Unchanged, int Conflicts, int Waiting);
