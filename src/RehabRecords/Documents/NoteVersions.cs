using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>One version of a note, or of an amendment of it.</summary>
/// <param name="Note">Id of the note; an amendment has one of its own.</param>
/// <param name="Version">Number of the version within that note.</param>
/// <param name="Composition">Exact address under /fhir/.</param>
/// <param name="Stage">As in a note.</param>
/// <param name="By">Who made this version, as far as the note tells; software for a draft it wrote.</param>
/// <param name="Reason">Why it was amended or withdrawn.</param>
public sealed record VersionLine(string Note, int Version, string Composition, DateTimeOffset At, string Status, string Stage, string? By, string? Reason);

/// <summary>How two versions differ, statement by statement.</summary>
public sealed record VersionDifference(string From, string To, IReadOnlyList<StatementDifference> Statements, int Unchanged);

/// <summary>All versions of a note, its amendments among them, and the difference between any two.</summary>
public sealed class NoteVersions(RecordStore store, DocumentKinds kinds)
{
    /// <summary>Oldest first.</summary>
    public async Task<IReadOnlyList<VersionLine>> ListAsync(string note, CancellationToken ct = default)
    {
        var lines = new List<VersionLine>();
        foreach (var id in await SeriesAsync(note, ct))
            foreach (var version in (await store.HistoryAsync("Composition", id, ct)).Reverse().Where(v => !v.Deleted))
            {
                var held = ResourceReader.Trusted<Composition>(version.Json);
                lines.Add(new VersionLine(
                    id, version.Version, version.VersionedAddress, version.LastUpdated, Hl7.Fhir.Utility.EnumUtility.GetLiteral(held.Status) ?? "", Stages.Of(held), By(held),
                    held.GetStringExtension(Terms.Extensions.AmendmentReason)));
            }
        return lines;
    }

    public async Task<(Composition Note, DocumentKind Kind)> AtAsync(string note, int version, CancellationToken ct = default)
    {
        var found = Rules.IsId(note) ? await store.ReadVersionAsync("Composition", note, version, ct) : null;
        return found is { Deleted: false } && ResourceReader.Trusted<Composition>(found.Json) is var held && kinds.Of(held) is { } kind
            ? (held, kind)
            : throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no version {version} of a note '{Rules.Shown(note)}'. GET /api/notes/{{id}}/versions lists them.", "version");
    }

    /// <param name="from">A version of this note, or note/version of another of its series; what it amends, or the version before, when left out.</param>
    /// <param name="to">The current version when left out.</param>
    public async Task<VersionDifference> CompareAsync(string note, string? from, string? to, CancellationToken ct = default)
    {
        var lines = await ListAsync(note, ct);
        var later = Find(lines, note, "to", to) ?? lines.Last(l => l.Note == note);
        var earlier = Find(lines, note, "from", from) ?? lines.TakeWhile(l => l != later).LastOrDefault(l => l.Note != later.Note)
            ?? lines.LastOrDefault(l => l.Note == later.Note && l.Version < later.Version) ?? later;
        var (before, kind) = await AtAsync(earlier.Note, earlier.Version, ct);
        var (after, _) = await AtAsync(later.Note, later.Version, ct);
        var all = StatementDifference.Between(NoteStatement.Of(before, kind), NoteStatement.Of(after, kind));
        var changed = all.Where(d => d.Change != StatementDifference.Same).ToList();
        return new VersionDifference(earlier.Composition, later.Composition, changed, all.Count - changed.Count);
    }

    /// <summary>Ids of the note and its amendments, the first version first.</summary>
    public async Task<IReadOnlyList<string>> SeriesAsync(string note, CancellationToken ct = default)
    {
        if ((Rules.IsId(note) ? await store.GetAsync<Composition>(note, ct) : null) is not var (current, _) || kinds.Of(current) is null)
            throw NoteInHand.Unknown(note);
        var ids = new LinkedList<string>([note]);
        for (var at = current; AmendNote.Before(at) is { } before && await store.HolderOfAsync("Composition", before.System!, before.Value!, ct) is { } id && !ids.Contains(id);)
        {
            ids.AddFirst(id);
            at = (await store.GetAsync<Composition>(id, ct))!.Value.Resource;
        }
        for (var last = current.Identifier; last is not null && await ReplacedByAsync(last, ct) is { } id && !ids.Contains(id);)
        {
            ids.AddLast(id);
            last = (await store.GetAsync<Composition>(id, ct))!.Value.Resource.Identifier;
        }
        return [.. ids];
    }

    /// <summary>The amendment of what holds an identifier, whether signed yet or not; null when there is none.</summary>
    public Task<string?> ReplacedByAsync(Identifier held, CancellationToken ct = default)
    {
        var next = AmendNote.Next(held);
        return store.HolderOfAsync("Composition", next.System!, next.Value!, ct);
    }

    private static VersionLine? Find(IReadOnlyList<VersionLine> lines, string note, string field, string? asked)
    {
        if (asked is null)
            return null;
        var parts = asked.Split('/');
        var (id, number) = parts.Length == 2 ? (parts[0], parts[1]) : (note, asked);
        return lines.FirstOrDefault(l => l.Note == id && l.Version.ToString(System.Globalization.CultureInfo.InvariantCulture) == number)
            ?? throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Value,
                $"{field} is '{Rules.Shown(asked)}', which is no version of this note; give a number of GET /api/notes/{note}/versions, or note/number for a version of an amendment.", field);
    }

    /// <summary>Whoever did the latest thing that the version shows.</summary>
    private string? By(Composition note)
    {
        var signed = note.Attester.Select(a => (At: a.Time, By: a.Party?.Display));
        var touched = NoteStatement.Of(note, kinds.Of(note)!).Where(s => s.At is not null).Select(s => (At: new FhirDateTime(s.At!.Value).Value, s.By));
        return signed.Concat(touched).Where(x => x.At == note.Date).Select(x => x.By).LastOrDefault()
            ?? (note.Author.TrueForAll(a => a.Reference == DraftAuthor.Address) ? DraftAuthor.Name : null);
    }
}

/// <summary>Where a note stands in its life.</summary>
public static class Stages
{
    public const string Draft = "draft";
    public const string Edited = "edited";
    public const string AwaitingCountersignature = "awaiting-countersignature";
    public const string Signed = "signed";
    public const string Amended = "amended";
    public const string EnteredInError = "entered-in-error";

    public static string Of(Composition note) => note.Status switch
    {
        CompositionStatus.EnteredInError => EnteredInError,
        CompositionStatus.Final => Signed,
        CompositionStatus.Amended => Amended,
        _ when note.Attester.Count > 0 => AwaitingCountersignature,
        _ => note.Author.TrueForAll(a => a.Reference == DraftAuthor.Address) ? Draft : Edited,
    };
}
