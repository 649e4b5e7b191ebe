using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Exchange;

/// <summary>What becomes of something that came in.</summary>
internal enum Fate
{
    Created,
    Updated,

    /// <summary>Known as it is, or as it was here before.</summary>
    Unchanged,

    /// <summary>Changed here and there.</summary>
    Conflict,

    /// <summary>Not taken in until somebody has decided about what it depends on.</summary>
    Waits,
}

/// <param name="Write">What would be written; null when nothing.</param>
/// <param name="Why">Words for a person, where there is something to say.</param>
internal sealed record Step(Incoming Entry, Twin Twin, Fate Fate, Resource? Write, string? Why = null)
{
    public IReadOnlyList<string> Differs { get; init; } = [];

    /// <summary>What came in, in our words.</summary>
    public Resource? Said { get; init; }

    /// <summary>Our version in which both sides were last the same; null where they have never met, or it was not looked for.</summary>
    public Resource? Common { get; init; }
}

/// <summary>Decides what becomes of each resource that came in; writes nothing.</summary>
internal sealed class ImportPlan(RecordStore store, string fhirBase)
{
    /// <param name="person">Who it is, when somebody has decided that.</param>
    /// <param name="decision">What somebody has decided about conflicts.</param>
    public async Task<IReadOnlyList<Step>> MakeAsync(IncomingBundle incoming, string? person, Choice decision, IReadOnlySet<string> settled, CancellationToken ct)
    {
        var matching = new Twins(store, fhirBase);
        var twins = new Dictionary<Incoming, Twin>();
        foreach (var entry in incoming.Entries)
            twins[entry] = entry.Resource is Patient ? await matching.OfPersonAsync(entry, person, ct) : await matching.OfAsync(entry, ct);
        RefuseTwoForOne(twins);
        var versions = await new CitedVersions(store, fhirBase).OfAsync(incoming, twins, ct);
        var translation = new Translation(incoming, twins, fhirBase, versions);
        var steps = new List<Step>();
        foreach (var entry in incoming.Entries)
        {
            var said = translation.Of(entry);
            steps.Add(await JudgeAsync(entry, twins[entry], said, decision, settled, ct) with { Said = said });
        }

        return WhatWaits.Among(steps, decision);
    }

    private async Task<Step> JudgeAsync(Incoming entry, Twin twin, Resource said, Choice decision, IReadOnlySet<string> settled, CancellationToken ct)
    {
        if (decision != Choice.Theirs && settled.Contains(entry.Source))
            return new Step(entry, twin, Fate.Unchanged, null, "A clinician has decided to keep ours.");
        if (twin.WasDeleted)
            return Conflict("It was deleted here.", []);
        if (twin.Here is not { } here)
            return new Step(entry, twin, Fate.Created, said);
        if (Content.Same(said, here))
            return new Step(entry, twin, Fate.Unchanged, null);
        // A programme is chosen as a whole: what is newer in ours goes with ours.
        if (decision == Choice.Theirs && WhatWaits.IsOfTheProgramme(said))
            return new Step(entry, twin, Fate.Updated, said);

        var history = await CitedVersions.VersionsAsync(store, twin, ct);
        Resource? At(int? version) => history.FirstOrDefault(h => h.Version == version).Resource;
        // What was last taken in from there: our version that it became, and their version that it was.
        var source = history.Select(h => h.Resource.Meta?.Source).FirstOrDefault(s => s is not null && LiteralReference.Of(s).Unversioned == entry.FullUrl);
        var taken = source is null ? null : (int?)history.Where(h => h.Resource.Meta?.Source == source).Min(h => h.Version);
        var theirsThen = source is null ? null : Number(LiteralReference.Of(source).Version);
        var sent = CitedVersions.OwnVersion(entry.Resource, fhirBase);
        if (entry.Version <= theirsThen || (At(sent) is { } was && Content.Same(said, was)) || (At(taken) is { } then && Content.Same(said, then)))
            return new Step(entry, twin, Fate.Unchanged, null, "Ours is newer.") { Common = At(taken ?? sent) };

        if ((sent is null ? taken : taken is null ? sent : Math.Max(sent.Value, taken.Value)) is not { } common || At(common) is not { } from)
            return Met(entry, twin, here, said, decision);
        return (twin.Version == common || Content.Same(from, here)
            ? new Step(entry, twin, Fate.Updated, said)
            : Conflict($"It was changed here (version {twin.Version}, last the same at version {common}) and there (version {entry.Version?.ToString(CultureInfo.InvariantCulture) ?? "not told"}).", Content.Differences(here, said))) with
        { Common = from };

        Step Conflict(string why, IReadOnlyList<string> differs) => decision == Choice.Theirs
            ? new Step(entry, twin, Fate.Updated, said)
            : new Step(entry, twin, decision == Choice.Ours ? Fate.Unchanged : Fate.Conflict, null, why) { Differs = differs };
    }

    /// <summary>Known by a business identifier and never exchanged before: identifiers are put together, and nothing of ours is written over.</summary>
    private static Step Met(Incoming entry, Twin twin, Resource here, Resource said, Choice decision)
    {
        var together = (Resource)here.DeepCopy();
        var added = 0;
        if (together is IIdentifiable<List<Identifier>> ours)
            foreach (var identifier in Origin.Identifiers(said)!.Where(i => !ours.Identifier.Exists(o => o.System == i.System && o.Value == i.Value)))
            {
                ours.Identifier.Add((Identifier)identifier.DeepCopy());
                added++;
            }

        if (Content.SameButIdentifiers(here, said) || (decision == Choice.Ours))
            return new Step(entry, twin, added > 0 ? Fate.Updated : Fate.Unchanged, added > 0 ? together : null);
        return decision == Choice.Theirs
            ? new Step(entry, twin, Fate.Updated, said)
            : new Step(entry, twin, Fate.Conflict, added > 0 ? together : null, $"{here.TypeName}/{here.Id} has the same identifier here and says something else.") { Differs = Content.Differences(here, said) };
    }

    private static void RefuseTwoForOne(Dictionary<Incoming, Twin> twins)
    {
        if (twins.GroupBy(t => (t.Key.Type, t.Value.Id)).FirstOrDefault(g => g.Count() > 1) is { } twice)
            throw new Fhir.RefusedException(Fhir.Refusal.Ambiguous, OperationOutcome.IssueType.MultipleMatches,
                $"{string.Join(" and ", twice.Select(t => t.Key.FullUrl))} would both be {twice.Key.Type}/{twice.Key.Id} here. Correct their identifiers.", twice.Last().Key.Path);
    }

    private static int? Number(string? text) => int.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var number) ? number : null;
}

/// <summary>What somebody decided about a conflict.</summary>
internal enum Choice
{
    None,
    Ours,
    Theirs,
}
