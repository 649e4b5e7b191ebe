using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Documents;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Discharges;

/// <summary>Reads discharges as they stand, and what has changed under them.</summary>
public sealed class DischargeReads(RecordStore store, ProgressReader reader, MeasureCatalogue catalogue, ClinicRules rules, TimeProvider clock)
{
    public async Task<(Composition Summary, int Version)> SummaryAsync(string id, CancellationToken ct)
    {
        var (summary, version) = await store.RoutedAsync<Composition>(id, "discharge", ct);
        return summary.Type.CodeIn(Systems.Loinc) == Loinc.DischargeSummary && summary.Meta?.Profile.Any(p => p?.Split('|')[0] == Profiles.DischargeSummary) == true
            ? (summary, version)
            : throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"'{id}' is no discharge; GET /api/discharges?person={{id}} lists a person's discharges.", "id");
    }

    public async Task<DischargeView> ViewAsync(Composition summary, CancellationToken ct)
    {
        var record = await RecordAsync(summary, ct);
        var blockers = record.Episode.Resource.Status == EpisodeOfCare.EpisodeOfCareStatus.Finished ? []
            : await Blockers.OfAsync(store, record.Patient.Id!, [.. record.Programmes.Select(p => p.Record)], record.On, ct);
        var overridden = (record.Form.Stated.Overrides ?? []).Select(o => o.Blocker).ToHashSet();
        return DischargeView.Of(summary, record.Episode.Resource, [.. blockers.Where(b => !b.CanBeOverridden || !overridden.Contains(b.Blocker))],
            [.. FreshDraft.Changes(summary, DischargeDraft.Compose(record, Number(summary)), NoteKind.DischargeSummary).Where(c => c.Change != FreshDraft.OtherEvidence)]);
    }

    /// <summary>The summary as the record would have it now, from the form it was drafted from; nothing is written.</summary>
    public async Task<Composition?> AnewAsync(Composition summary, CancellationToken ct) => DischargeDraft.Compose(await RecordAsync(summary, ct), Number(summary));

    private static string Number(Composition summary) => summary.Identifier!.Value!;

    /// <summary>The record as it is now, with the form as the summary cites it.</summary>
    internal async Task<DischargeRecord> RecordAsync(Composition summary, CancellationToken ct)
    {
        var details = summary.Event[0].Detail;
        var programmes = details.Select(d => d.IdOf("CarePlan")).OfType<string>().Reverse().ToList();
        var episode = await Episode.OfAsync(store, details.Select(d => d.IdOf("EpisodeOfCare")).OfType<string>().First(), programmes, ct);
        var (form, _) = await store.GetAsync<QuestionnaireResponse>(details.Select(d => d.IdOf("QuestionnaireResponse")).OfType<string>().First(), ct)
            ?? throw new FormatException($"The form that Composition/{summary.Id} names is not in the record.");
        return await DischargeRecord.ReadAsync(store, reader, episode, DischargeForm.Read(form), catalogue, rules, ct);
    }

    public async Task<IReadOnlyList<DischargeLine>> OfPersonAsync(string person, CancellationToken ct)
    {
        var summaries = await store.FindAllAsync<Composition>($"{await Replaced.SubjectsAsync(store, person, ct)}&type={Systems.Loinc}|{Loinc.DischargeSummary}", ct);
        var episodes = (await store.FindAllAsync<EpisodeOfCare>($"patient=Patient/{person}", ct)).ToDictionary(e => e.Id!);
        return
        [
            .. from summary in summaries
               let about = summary.Event.FirstOrDefault()
               let episode = about?.Detail.Select(d => d.IdOf("EpisodeOfCare")).FirstOrDefault(id => id is not null)
               where episode is not null && episodes.ContainsKey(episode)
               orderby about.Period?.End descending, summary.Id descending
               select new DischargeLine(summary.Id!, $"/api/discharges/{summary.Id}", DischargeView.StatusOf(summary, episodes[episode]), about.Period?.Start ?? "", about.Period?.End ?? "",
                   $"Composition/{summary.Id}/_history/{summary.VersionId}"),
        ];
    }

    public async Task<IReadOnlyList<BlockerView>> BlockersAsync(string person, CancellationToken ct)
    {
        var records = await Episode.OpenAsync(store, person, ct) is { } episode ? await episode.RecordsAsync(reader, ct) : [];
        var on = Schedule.DayOf(clock.GetUtcNow(), records.Count > 0 ? records[^1].Programme.TimeZone : "Europe/London");
        return await Blockers.OfAsync(store, person, records, on, ct);
    }
}
