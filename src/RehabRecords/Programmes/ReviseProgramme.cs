using Hl7.Fhir.Model;
using RehabRecords.Decisions;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>Adds, changes and stops exercises from one day on, in one transaction; each change is kept as a decision.</summary>
public sealed class ReviseProgramme(RecordStore store, Recording recording, ProgressReader reader, UpToDate upToDate, TimeProvider clock)
{
    public Task<IResult> RunAsync(string programme, Posted<RevisionRequest> posted, CancellationToken ct)
    {
        string? known = null;
        return recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var hand = await ProgrammeInHand.OpenAsync(store, reader, programme, clock.GetUtcNow(), cancel);
            hand.RefuseIfMoved(ref known);
            return await PrepareAsync(posted.Body, hand, set, cancel);
        }, ct, Decide.Tries);
    }

    private async Task<Recorded<ProgrammeAnswer>> PrepareAsync(RevisionRequest request, ProgrammeInHand hand, WriteSet set, CancellationToken ct)
    {
        var stopped = (request.Stop ?? []).Select((named, i) => hand.Current($"stop[{i}]", named)).ToList();
        var changes = (request.Change ?? []).Select((change, i) => (Field: $"change[{i}].exercise", Change: change, Prescription: hand.Current($"change[{i}].exercise", change.Exercise!))).ToList();
        if (request.Schedule is { } schedule)
            changes.AddRange(hand.Going.Where(p => !stopped.Contains(p) && changes.TrueForAll(c => c.Prescription != p || c.Change.Schedule is null))
                .Select(p => ("schedule", new ChangeRequest { Exercise = p.Request, Schedule = schedule }, p)));
        // The schedule of all may meet a change of one: both are one change.
        var merged = changes.GroupBy(c => c.Prescription).Select(g => (g.First().Field, Prescription: g.Key, Changes: g.Select(c => c.Change).ToList())).ToList();
        var from = hand.From("from", request.From, [.. stopped, .. merged.Select(m => m.Prescription)]);
        var by = await request.By!.ReferenceAsync(store, set, ct);

        var decided = new List<Decided>();
        foreach (var prescription in stopped)
        {
            hand.Stop(set, prescription, from);
            var old = hand.RequestOf(prescription);
            decided.Add(new Decided(DecisionCode.Stop, old, prescription.Planned.Id, from, by, request.Reason, $"{prescription.Planned.Title}: stopped") { Ended = old });
        }
        foreach (var (field, prescription, wanted) in merged)
        {
            var old = hand.RequestOf(prescription);
            var present = await hand.AsPrescribedAsync(field, prescription, ct);
            var changed = wanted.Aggregate(present, Changed);
            var replaced = hand.Replace(set, prescription, changed, from, by);
            decided.Add(new Decided(DecisionCode.Revise, old, prescription.Planned.Id, from, by, request.Reason, $"{prescription.Planned.Title}: {Difference(present, changed)}") { Prescription = replaced, Ended = old });
        }
        foreach (var (item, i) in (request.Add ?? []).Select((item, i) => (item, i)))
        {
            var exercise = await store.ExerciseAsync($"add[{i}].exercise", item.Exercise!, ct);
            if (hand.Requests.Any(r => r.Status == RequestStatus.Active && r.Code.CodeIn(Systems.Exercise) == exercise.Code.CodeIn(Systems.Exercise) && Sides.Of(r.BodySite.FirstOrDefault()) == item.Side))
                throw Missing.Bad($"add[{i}].exercise", $"add[{i}].exercise is '{item.Exercise}' ({item.Side}), which the programme prescribes already; change it instead of adding it, or stop it first.");
            var prescribed = Prescribed.Of(exercise, null, item, hand.Record.Precautions);
            var added = hand.Add(set, prescribed, from, by);
            decided.Add(new Decided(DecisionCode.Add, added, added.Id!, from, by, request.Reason, $"{exercise.Title}: added, {Amount(prescribed)}") { Prescription = added });
        }
        await hand.SaveAsync(set, ct);
        var number = hand.Record.Decisions.Select(d => d.Group).OfType<string>().Distinct().Count() + 1;
        foreach (var one in decided)
            set.Create((one with { Group = $"{number}" }).ToTask(hand.Plan, hand.Record.Decisions.Count(d => d.Planned == one.Planned), hand.Now));
        await upToDate.AddToOpenAsync(set, hand.Record, ct);
        return new Recorded<ProgrammeAnswer>(StatusCodes.Status201Created, $"/api/programmes/{hand.Plan.Id}", await hand.AnswerAsync(ct));
    }

    private static Prescribed Changed(Prescribed present, ChangeRequest change) => present with
    {
        SetUp = present.SetUp with
        {
            Dosage = change.Dosage is { } dosage ? dosage.Over(present.SetUp.Dosage) : present.SetUp.Dosage,
            Position = change.Position ?? present.SetUp.Position,
            HandOrder = change.HandOrder ?? present.SetUp.HandOrder,
            HelpLevel = change.HelpLevel ?? present.SetUp.HelpLevel,
        },
        Schedule = change.Schedule is null ? present.Schedule : Timings.Whole(change.Schedule),
        Instruction = change.Instruction ?? present.Instruction,
    };

    /// <summary>What a reader of the note needs to know of the change.</summary>
    private static string Difference(Prescribed present, Prescribed changed)
    {
        var said = new List<string>();
        if (changed.SetUp.Dosage != present.SetUp.Dosage)
            said.Add($"{Lower(PlainWords.Dosage(changed.SetUp.Dosage))} in place of {Lower(PlainWords.Dosage(present.SetUp.Dosage))}");
        if (Timings.Often(changed.Schedule) != Timings.Often(present.Schedule))
            said.Add($"{Lower(Timings.Often(changed.Schedule))} in place of {Lower(Timings.Often(present.Schedule))}");
        said.AddRange(PlainWords.SetUp(changed.SetUp).Except(PlainWords.SetUp(present.SetUp)).Select(Lower));
        if (changed.Instruction != present.Instruction)
            said.Add("new words for the person");
        return said.Count == 0 ? "prescribed again as it was" : string.Join(", ", said);
    }

    private static string Amount(Prescribed prescribed) => $"{Lower(PlainWords.Dosage(prescribed.SetUp.Dosage))}, {Lower(Timings.Often(prescribed.Schedule))}";

    private static string Lower(string sentence) => sentence.Length == 0 ? sentence : (char.ToLowerInvariant(sentence[0]) + sentence[1..]).TrimEnd('.');
}
