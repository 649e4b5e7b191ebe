using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Discharges;

/// <summary>
/// The span of care that a discharge ends. It is made with the first discharge draft, unless one is under way already (made
/// over /fhir by a system that keeps episodes): until somebody is discharged, nothing of the record asks for it.
/// </summary>
/// <param name="Version">0 while it is not stored.</param>
/// <param name="Programmes">Ids of the programmes that belong to it, earliest first.</param>
internal sealed record Episode(EpisodeOfCare Resource, int Version, DateOnly Start, IReadOnlyList<string> Programmes)
{
    /// <summary>As the discharge will find it: an episode that is about to be stored will be version 1.</summary>
    public string Evidence => $"EpisodeOfCare/{Resource.Id}/_history/{Math.Max(Version, 1)}";

    /// <summary>The episode under way: everything handed over that no finished episode holds. Null when there is none.</summary>
    public static async Task<Episode?> OpenAsync(RecordStore store, string person, CancellationToken ct)
    {
        var all = await store.FindAllAsync<EpisodeOfCare>($"patient=Patient/{person}", ct);
        var ended = all.Where(e => e.Status == EpisodeOfCare.EpisodeOfCareStatus.Finished).Select(e => Addresses.Day(e.Period?.End)).OfType<DateOnly>().DefaultIfEmpty(DateOnly.MinValue).Max();
        var plans = await PlansAsync(store, person, ct);
        var open = plans.Where(p => Addresses.Day(p.Period?.Start) > ended || p.Status is RequestStatus.Active or RequestStatus.OnHold).ToList();
        if (open.Count == 0)
            return null;
        var known = all.FirstOrDefault(e => e.Status is EpisodeOfCare.EpisodeOfCareStatus.Active or EpisodeOfCare.EpisodeOfCareStatus.Onhold);
        var first = Addresses.Day(open[0].Period?.Start)!.Value;
        if (known is not null)
            return new Episode(known, Version: VersionOf(known), Addresses.Day(known.Period?.Start) is { } start && start < first ? start : first, Ids(open));
        var episode = new EpisodeOfCare
        {
            Id = NewId.Next(),
            // The number makes two drafts at the same moment collide instead of opening two episodes.
            Identifier = [new Identifier(Canonical.Identifier("episode"), $"{person}/{all.Count + 1}")],
            Status = EpisodeOfCare.EpisodeOfCareStatus.Active,
            Patient = new ResourceReference($"Patient/{person}"),
            Period = new Period { Start = Timings.Iso(first) },
            Text = Readable.Of($"Episode of rehabilitation from {first:d MMMM yyyy}."),
        };
        return new Episode(episode, 0, first, Ids(open));
    }

    /// <summary>The episode of a discharge that was begun, whatever has become of it since.</summary>
    public static async Task<Episode> OfAsync(RecordStore store, string id, IReadOnlyList<string> programmes, CancellationToken ct)
    {
        var (episode, version) = await store.GetAsync<EpisodeOfCare>(id, ct) ?? throw new FormatException($"EpisodeOfCare/{id}, which a discharge names, is not in the record.");
        return new Episode(episode, version, Addresses.Day(episode.Period?.Start) ?? throw new FormatException($"{episode.Evidence()} has no first day."), programmes);
    }

    public async Task<IReadOnlyList<ProgrammeRecord>> RecordsAsync(ProgressReader reader, CancellationToken ct)
    {
        var records = new List<ProgrammeRecord>();
        foreach (var programme in Programmes)
            records.Add(await reader.ReadAsync(programme, ct));
        return records;
    }

    /// <summary>Finished on the day of discharge, with what it was before kept in its history.</summary>
    public void Finish(WriteSet set, DateOnly on)
    {
        Resource.StatusHistory.Add(new EpisodeOfCare.StatusHistoryComponent
        {
            Status = Resource.Status,
            Period = new Period { Start = Timings.Iso(Start), End = Timings.Iso(on) },
        });
        Resource.Status = EpisodeOfCare.EpisodeOfCareStatus.Finished;
        Resource.Period ??= new Period { Start = Timings.Iso(Start) };
        Resource.Period.End = Timings.Iso(on);
        Resource.Text = Readable.Of($"Episode of rehabilitation from {Start:d MMMM yyyy} to {on:d MMMM yyyy}, finished with a discharge.");
        set.Update(Resource, Version);
    }

    /// <summary>Programmes that were handed over, by their first day.</summary>
    private static async Task<List<CarePlan>> PlansAsync(RecordStore store, string person, CancellationToken ct) =>
        [.. (await store.FindAllAsync<CarePlan>($"subject=Patient/{person}", ct))
            .Where(p => p.Status is not (RequestStatus.Draft or RequestStatus.EnteredInError) && Addresses.Day(p.Period?.Start) is not null)
            .OrderBy(p => p.Period!.Start, StringComparer.Ordinal).ThenBy(p => p.Id, StringComparer.Ordinal)];

    private static List<string> Ids(IEnumerable<CarePlan> plans) => [.. plans.Select(p => p.Id!)];

    private static int VersionOf(Resource resource) => int.Parse(resource.Meta!.VersionId!, System.Globalization.CultureInfo.InvariantCulture);
}
