using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Discharges;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Letters;

/// <summary>
/// Drafts a letter to the team that takes over: keeps what the clinician states and tells the rest from the record. Nothing
/// ends by it, and nothing is sent: a programme is handed over by itself, under the person's consent.
/// </summary>
public sealed class WriteLetter(RecordStore store, Recording recording, ProgressReader reader, MeasureCatalogue catalogue, ClinicRules rules, TimeProvider clock)
{
    public Task<IResult> RunAsync(Posted<LetterRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var request = posted.Body;
        var person = Rules.Bare(request.Person!, "Patient");
        await store.NamedAsync<Patient>("person", person, "person", cancel);
        var episode = await Episode.OpenAsync(store, person, cancel)
            ?? throw Missing.Bad("person", $"person is '{person}', who has no programme that a letter could tell of since the last discharge; prescribe and hand over one first (POST /api/programmes).");
        var now = clock.GetUtcNow();
        var on = Schedule.DayOf(now, (await reader.ReadAsync(episode.Programmes[^1], cancel)).Programme.TimeZone);
        var number = await NextAsync(person, cancel);
        var author = await request.Author!.ReferenceAsync(store, set, cancel);
        var form = set.Create(LetterForm.Write(request, on, person, number, author, now));
        // Cited at the version it will be.
        (form.Meta ??= new Meta()).VersionId = "1";
        var letter = set.Create(await DraftAsync(episode, form, number, cancel));
        if (await store.ReadAsync("Device", DraftAuthor.Id, cancel) is null)
            set.Create(DraftAuthor.Resource());
        letter.Meta!.VersionId = "1";
        return new Recorded<NoteView>(StatusCodes.Status201Created, $"/api/notes/{letter.Id}", NoteView.Of(letter));
    }, ct, Clinician.Tries);

    /// <summary>The letter as the record would have it now, from the form it was drafted from; null once the person is discharged. Nothing is written.</summary>
    public async Task<Composition?> AnewAsync(Composition letter, CancellationToken ct)
    {
        if (letter.Event[0].Detail.Select(d => d.IdOf("QuestionnaireResponse")).OfType<string>().FirstOrDefault() is not { } id
            || await store.GetAsync<QuestionnaireResponse>(id, ct) is not var (form, _)
            || await Episode.OpenAsync(store, letter.Subject.IdOf("Patient")!, ct) is not { } episode)
            return null;
        return await DraftAsync(episode, form, letter.Identifier!.Value!, ct);
    }

    private async Task<Composition> DraftAsync(Episode episode, QuestionnaireResponse form, string number, CancellationToken ct)
    {
        var (letter, stated) = LetterForm.Read(form);
        var record = await DischargeRecord.ReadAsync(store, reader, episode, stated, catalogue, rules, ct);
        // A result that comes in later belongs to the time the letter covers; the clock does not.
        var last = record.Programmes.SelectMany(p => p.Record.Sessions).Select(s => s.Report.Day).DefaultIfEmpty(stated.On).Max();
        if (last > stated.On)
            record = DischargeRecord.Of(episode, stated with { On = last }, [.. record.Programmes.Select(p => p.Record)], catalogue, rules) with
            {
                Carers = record.Carers,
                Briefings = record.Briefings,
                Tasks = record.Tasks,
            };
        return LetterDraft.Compose(record, letter, number);
    }

    /// <summary>Letters of a person are numbered; of two written at once the later takes the next number.</summary>
    private async Task<string> NextAsync(string person, CancellationToken ct)
    {
        var number = 1;
        while (await store.HolderOfAsync("Composition", Canonical.Identifier("transfer-letter"), $"{person}/{number}", ct) is not null)
            number++;
        return $"{person}/{number}";
    }
}
