using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Flags;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.Sessions;

/// <summary>
/// The main job: a reported session becomes resources, red flags are looked for first, everything is computed again from
/// the record with the new session in it, and the draft note is brought up to date; all of it in one transaction.
/// </summary>
public sealed class RecordSession(
    RecordStore store, Recording recording, ProgressReader reader, UpToDate upToDate, TimeProvider clock)
{
    /// <summary>Each lost race means that another session of the same programme got in, so this ends.</summary>
    private const int Tries = 20;

    public async Task<IResult> RunAsync(Posted<SessionRequest> posted, CancellationToken ct)
    {
        try
        {
            return await recording.OnceAsync(SessionKeys.Of(posted), (set, cancel) => PrepareAsync(posted.Body, set, cancel), ct, Tries);
        }
        catch (RefusedException e) when (e.Refusal == Refusal.KeyReused)
        {
            // The key made from an identifier means nothing to the sender; the identifier does.
            await RefuseHeldAsync(posted.Body.Identifier, ct);
            throw;
        }
    }

    /// <summary>An identifier names one session; another report under it is a mistake, not a repeat.</summary>
    private async Task RefuseHeldAsync(BusinessId? identifier, CancellationToken ct)
    {
        if (identifier is { System: { } system, Value: { } value } && await store.HolderOfAsync("Procedure", system, value, ct) is { } holder)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Duplicate,
                $"identifier is '{system}|{value}', which the session /api/sessions/{holder} holds with another content; give a new session an identifier of its own.", "identifier");
    }

    private async Task<Recorded<SessionAnswer>> PrepareAsync(SessionRequest request, WriteSet set, CancellationToken ct)
    {
        await RefuseHeldAsync(request.Identifier, ct);
        var (person, programme) = (Rules.Bare(request.Person!, "Patient"), Rules.Bare(request.Programme!, "CarePlan"));
        await store.NamedAsync<Patient>("person", person, "person", ct);
        var (plan, _) = await store.NamedAsync<CarePlan>("programme", programme, "programme", ct);
        var record = await reader.ReadAsync(programme, ct);
        var now = clock.GetUtcNow();
        var placed = SessionChecks.Place(request, record, plan, now);

        var reporter = await request.ReportedBy!.ReferenceAsync(person, store, ct);
        var session = set.Create(request.ToProcedure(reporter, placed, now));
        var results = placed.Select(p => set.Create(p.ToObservation(session, reporter))).ToList();
        var harms = (request.AdverseEvents ?? []).Select(h => set.Create(h.ToAdverseEvent(session, reporter, now))).ToList();
        var raised = Screen(request, session, results, harms, record.Programme);
        foreach (var flag in raised)
            set.Create(flag.ToFlag(person));

        var (after, findings, note) = await upToDate.AddAsync(set, record, ct);
        return new Recorded<SessionAnswer>(StatusCodes.Status201Created, $"/api/sessions/{session.Id}", Answer(set, session, raised, after, findings, note));
    }

    /// <summary>What was ticked, harm that is a red flag by itself, and pain above the programme's limit.</summary>
    private static IReadOnlyList<RaisedFlag> Screen(
        SessionRequest request, Procedure session, IEnumerable<Observation> results, IEnumerable<AdverseEvent> harms, ProgrammeOutline programme)
    {
        var reported = SessionMapping.Session(session, results.Select(RecordedResult.Of), harms, programme.TimeZone, new Dictionary<string, string>())
            ?? throw new InvalidOperationException("A session that passed its checks has a time.");
        return SafetyScreen.Of(reported.Report with { RedFlags = request.RedFlags ?? [] }, programme.PainLimit);
    }

    private static SessionAnswer Answer(
        WriteSet set, Procedure session, IReadOnlyList<RaisedFlag> raised, ProgrammeRecord record, ProgrammeFindings findings, Composition note)
    {
        // The store will give the note this version, and the answer names it exactly.
        if (set.Writes.FirstOrDefault(w => w.Resource == note) is { } write)
            (note.Meta ??= new Meta()).VersionId = (write.FromVersion + 1).ToString(System.Globalization.CultureInfo.InvariantCulture);
        var view = FindingsView.Of(record, findings);
        return new SessionAnswer(
            UrgentAnswer.Of(raised),
            $"Procedure/{session.Id}",
            [.. set.Writes.Select(w => $"{w.Type}/{w.Id}")],
            view.Adherence, view.Dose, view.Changes, view.Flags, view.Suggestions, NoteView.Of(note, NoteKind.ProgressNote));
    }
}
