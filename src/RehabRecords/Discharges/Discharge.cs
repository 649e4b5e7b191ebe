using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Discharges;

/// <summary>
/// Begins a discharge: keeps what the clinician states, opens the episode where there is none, and drafts the summary. It
/// ends nothing; that is done when the signed summary is completed. While nobody has signed or edited the draft, sending
/// the form again drafts it anew.
/// </summary>
public sealed class Discharge(RecordStore store, Recording recording, ProgressReader reader, MeasureCatalogue catalogue, ClinicRules rules, TimeProvider clock)
{
    public Task<IResult> BeginAsync(Posted<DischargeRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var request = posted.Body with { Overrides = [.. (posted.Body.Overrides ?? []).Select(o => o with { Blocker = Unversioned(o.Blocker!) })] };
        var person = Rules.Bare(request.Person!, "Patient");
        await store.NamedAsync<Patient>("person", person, "person", cancel);
        var episode = await Episode.OpenAsync(store, person, cancel)
            ?? throw Missing.Bad("person", $"person is '{person}', who has no programme to be discharged from since the last discharge; prescribe and hand over one first (POST /api/programmes).");
        var records = await episode.RecordsAsync(reader, cancel);
        var now = clock.GetUtcNow();
        var on = LastDay(request, records, now);
        Check(request, records, on);
        var blockers = await Blockers.OfAsync(store, person, records, on, cancel);
        Blockers.RefuseUnknown(blockers, request.Overrides ?? []);
        Blockers.Refuse(blockers, request.Overrides ?? []);

        var number = $"{episode.Resource.Id}/1";
        var open = await OpenDraftAsync(number, cancel);
        if (episode.Version == 0)
            set.Create(episode.Resource);
        var author = await request.Author!.ReferenceAsync(store, set, cancel);
        var form = await KeepAsync(set, DischargeForm.Write(request, on, person, number, author, now), number, cancel);
        var record = await DischargeRecord.ReadAsync(store, reader, episode, DischargeForm.Read(form), catalogue, rules, cancel);
        var summary = DischargeDraft.Compose(record, number);
        if (await store.ReadAsync("Device", DraftAuthor.Id, cancel) is null)
            set.Create(DraftAuthor.Resource());
        if (open is var (draft, version))
        {
            summary.Id = draft.Id;
            set.Update(summary, version);
        }
        else
            set.Create(summary);
        summary.Meta!.VersionId = $"{(open?.Version ?? 0) + 1}";
        return new Recorded<DischargeView>(open is null ? StatusCodes.Status201Created : StatusCodes.Status200OK, $"/api/discharges/{summary.Id}",
            DischargeView.Of(summary, episode.Resource, [], []));
    }, ct, Clinician.Tries);

    /// <summary>Whichever version of it was named, the thing itself stands in the way.</summary>
    private static string Unversioned(string address) => address.Split("/_history/")[0];

    /// <summary>The day asked for, or today in the zone of the latest programme.</summary>
    private static DateOnly LastDay(DischargeRequest request, IReadOnlyList<ProgrammeRecord> records, DateTimeOffset now)
    {
        var today = Schedule.DayOf(now, records[^1].Programme.TimeZone);
        var on = request.DischargedOn ?? today;
        return on <= today ? on
            : throw Missing.Bad("dischargedOn", $"dischargedOn is {on:yyyy-MM-dd}, which is still to come (it is {today:yyyy-MM-dd} in {records[^1].Programme.TimeZone}); discharge on the day or later.");
    }

    private static void Check(DischargeRequest request, IReadOnlyList<ProgrammeRecord> records, DateOnly on)
    {
        var issues = new List<Issue>();
        void Bad(string field, string message) => issues.Add(Issue.Error(OperationOutcome.IssueType.BusinessRule, message, field));
        var start = records.Max(r => r.Programme.Start);
        if (on < start)
            Bad("dischargedOn", $"dischargedOn is {on:yyyy-MM-dd}, before the latest programme starts ({start:yyyy-MM-dd}); give a day from then on.");
        var practised = records.SelectMany(r => r.Sessions).Select(s => s.Report.Day).DefaultIfEmpty(start).Max();
        if (on < practised)
            Bad("dischargedOn", $"dischargedOn is {on:yyyy-MM-dd}, and a session of {practised:yyyy-MM-dd} is recorded; give a day from then on, or correct the session.");
        if (request.ReviewDate < on)
            Bad("reviewDate", $"reviewDate is {request.ReviewDate:yyyy-MM-dd}, before the discharge on {on:yyyy-MM-dd}; give a day from then on, or leave it out.");
        foreach (var (action, i) in (request.Actions ?? []).Select((a, i) => (a, i)))
            if (action.Due < on)
                Bad($"actions[{i}].due", $"actions[{i}].due is {action.Due:yyyy-MM-dd}, before the discharge on {on:yyyy-MM-dd}; give a day from then on, or leave it out.");
        if (issues.Count > 0)
            throw new RefusedException(Refusal.Invalid, issues);
    }

    /// <summary>The draft that is replaced by its next version; null for the first.</summary>
    private async Task<(Composition Draft, int Version)?> OpenDraftAsync(string number, CancellationToken ct)
    {
        if (await store.HolderOfAsync("Composition", Canonical.Identifier("discharge-summary"), number, ct) is not { } id
            || await store.GetAsync<Composition>(id, ct) is not var (summary, version))
            return null;
        if (summary.Status == CompositionStatus.Preliminary && summary.Author.All(a => a.Reference == DraftAuthor.Address))
            return (summary, version);
        var state = summary.Status == CompositionStatus.Preliminary ? "edited by a clinician" : "signed";
        throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
            $"The discharge summary /api/discharges/{id} was {state}, so a new form cannot take its place; edit or amend the summary itself (/api/notes/{id}).", "person");
    }

    private async Task<QuestionnaireResponse> KeepAsync(WriteSet set, QuestionnaireResponse form, string number, CancellationToken ct)
    {
        var version = 0;
        if (await store.HolderOfAsync("QuestionnaireResponse", Canonical.Identifier("discharge-form"), number, ct) is { } id
            && await store.GetAsync<QuestionnaireResponse>(id, ct) is var (_, current))
            (form.Id, version) = (id, current);
        _ = version == 0 ? set.Create(form) : set.Update(form, version);
        // Cited at the version it will be.
        form.Meta!.VersionId = $"{version + 1}";
        return form;
    }
}
