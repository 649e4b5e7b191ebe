using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>
/// What clinicians do to the statements of a draft. Each makes a new version that names who did it and keeps the drafted
/// words; pages and the routes of /api call the same commands.
/// </summary>
public sealed class EditNote(RecordStore store, DocumentKinds kinds, TimeProvider clock)
{
    public Task<Composition> AcceptAsync(WriteSet set, string note, string? ifMatch, AcceptanceRequest request, CancellationToken ct) =>
        ChangeAsync(set, note, ifMatch, request.By!, (hand, who) =>
        {
            var chosen = request.Statements is { } named ? [.. named.Select(hand.Statement)] : hand.Statements.Where(s => !s.IsTouched).ToList();
            if (chosen.Count == 0)
                throw Missing.Bad("statements", "statements is left out, and there is no statement that nobody has touched; name those that are to be confirmed.");
            foreach (var statement in chosen)
            {
                if (!statement.IsTouched)
                    Mark(statement, StatementState.Accepted, who, hand.Now);
                // An edit, a removal or words of one's own that needed a look are confirmed as they stand.
                statement.Held.RemoveExtension(Extensions.NeedsALook);
            }
        }, ct);

    public Task<Composition> EditAsync(WriteSet set, string note, string? ifMatch, string statement, EditRequest request, CancellationToken ct) =>
        EditAsync(set, note, ifMatch, [(statement, request)], ct);

    /// <summary>Several statements in one version, by the one who edits the first.</summary>
    public Task<Composition> EditAsync(WriteSet set, string note, string? ifMatch, IReadOnlyList<(string Statement, EditRequest Request)> edits, CancellationToken ct) =>
        ChangeAsync(set, note, ifMatch, edits[0].Request.By!, (hand, who) =>
        {
            foreach (var (statement, request) in edits)
                Edit(hand, hand.Statement(statement), request.Text!.Trim(), who);
        }, ct);

    private static void Edit(NoteInHand hand, NoteStatement edited, string text, ResourceReference who)
    {
        RefuseRedFlag(hand, edited, "edited");
        var drafted = edited.Drafted;
        if (drafted is not null && drafted == text)
        {
            Restore(edited);
            Mark(edited, StatementState.Accepted, who, hand.Now);
            return;
        }

        edited.Held.Text = Typed(text);
        // The numbers of the drafted sentence need not be those of this one.
        edited.Held.RemoveExtension(Extensions.StatedValue);
        edited.Held.RemoveExtension(Extensions.RemovalReason);
        edited.Held.RemoveExtension(Extensions.NeedsALook);
        Mark(edited, edited.State == StatementState.Own ? StatementState.Own : StatementState.Edited, who, hand.Now);
        if (drafted is not null)
            edited.Held.SetStringExtension(Extensions.DraftedText, drafted);
    }

    public Task<Composition> RemoveAsync(WriteSet set, string note, string? ifMatch, string statement, RemovalRequest request, CancellationToken ct) =>
        ChangeAsync(set, note, ifMatch, request.By!, (hand, who) =>
        {
            var removed = hand.Statement(statement);
            RefuseRedFlag(hand, removed, "removed");
            if (removed.State == StatementState.Own)
            {
                // Nobody drafted it, so nothing of the software's is hidden; earlier versions keep it.
                removed.Part.Section.Remove(removed.Held);
                return;
            }

            var drafted = removed.Drafted!;
            removed.Held.Text = Typed($"Removed by {who.Display} on {Wording.Date(DateOnly.FromDateTime(hand.Now.UtcDateTime))}, because: {Wording.Sentence(request.Reason!)}");
            removed.Held.RemoveExtension(Extensions.StatedValue);
            removed.Held.RemoveExtension(Extensions.NeedsALook);
            Mark(removed, StatementState.Removed, who, hand.Now);
            removed.Held.SetStringExtension(Extensions.DraftedText, drafted);
            removed.Held.SetStringExtension(Extensions.RemovalReason, request.Reason!.Trim());
        }, ct);

    public Task<Composition> RestoreAsync(WriteSet set, string note, string? ifMatch, string statement, RestorationRequest request, CancellationToken ct) =>
        ChangeAsync(set, note, ifMatch, request.By!, (hand, _) =>
        {
            var restored = hand.Statement(statement);
            if (!restored.IsTouched || restored.Drafted is null)
                throw Missing.Bad("statement", $"statement is '{Rules.Shown(statement)}', which {(restored.IsTouched ? "a clinician wrote, so there are no drafted words to go back to" : "stands as it was drafted")}.");
            Restore(restored);
        }, ct);

    public async Task<Composition> AddAsync(WriteSet set, string note, string? ifMatch, OwnStatementRequest request, CancellationToken ct)
    {
        var hand = await OpenAsync(note, ifMatch, ct);
        var part = Parts.Named(hand.Note, request.Section!) ?? throw Missing.Bad(
            "section", $"section is '{Rules.Shown(request.Section!)}', which this note does not have; use one of: {string.Join(", ", hand.Note.Section.Select(Parts.NameOf))}.");
        var place = part.Section.Count;
        if (request.After is { } after)
        {
            place = part.Section.FindIndex(s => s.ElementId == after) + 1;
            if (place == 0)
                throw Missing.Bad("after", $"after is '{Rules.Shown(after)}', and the section {Parts.NameOf(part)} has no such statement; leave it out to add at the end.");
        }

        var evidence = new List<ResourceReference>();
        for (var i = 0; i < (request.Evidence?.Count ?? 0); i++)
            evidence.Add(await EvidenceAsync($"evidence[{i}]", request.Evidence![i], hand.Note, ct));
        var who = await request.By!.ReferenceAsync("by", store, set, ct);
        var held = new Composition.SectionComponent
        {
            ElementId = $"{NoteStatement.OwnRule}.{NewId.Next()}",
            Code = NoteStatement.OwnCode(),
            Text = Typed(request.Text!.Trim()),
            Entry = evidence,
        };
        part.Section.Insert(place, held);
        Mark(NoteStatement.Of(held, part, hand.Kind), StatementState.Own, who, hand.Now);
        hand.Save(set, who);
        return hand.Note;
    }

    private async Task<Composition> ChangeAsync(WriteSet set, string note, string? ifMatch, Signer by, Action<NoteInHand, ResourceReference> change, CancellationToken ct)
    {
        var hand = await OpenAsync(note, ifMatch, ct);
        var who = await by.ReferenceAsync("by", store, set, ct);
        change(hand, who);
        hand.Save(set, who);
        return hand.Note;
    }

    private async Task<NoteInHand> OpenAsync(string note, string? ifMatch, CancellationToken ct)
    {
        var hand = await NoteInHand.OpenAsync(store, kinds, note, ifMatch, clock.GetUtcNow(), ct);
        hand.RefuseUnlessDraft();
        return hand;
    }

    /// <summary>An exact version of something that is recorded about this person.</summary>
    private async Task<ResourceReference> EvidenceAsync(string field, string address, Composition note, CancellationToken ct)
    {
        var found = address.Split('/') switch
        {
            [var type, var id] when IsType(type) && Rules.IsId(id) => await store.ReadAsync(type, id, ct),
            [var type, var id, "_history", var version] when IsType(type) && Rules.IsId(id) && int.TryParse(version, out var number) => await store.ReadVersionAsync(type, id, number, ct),
            _ => throw Missing.Bad(field, $"{field} is '{Rules.Shown(address)}'; give an address under /fhir as Type/id/_history/version, or Type/id for what is current.", OperationOutcome.IssueType.Value),
        };
        if (found is null or { Deleted: true })
            throw Missing.Unknown(field, address, "resource");
        using var json = JsonDocument.Parse(found.Json);
        var about = found.Type == "Patient" ? found.Address : PersonOf(json.RootElement);
        return about == note.Subject!.Reference ? new ResourceReference(found.VersionedAddress)
            : throw Missing.Bad(field, $"{field} is '{Rules.Shown(address)}', which is {(about is null ? "about nobody in particular" : "about another person")}; give something recorded about {note.Subject.Reference}.");

        static bool IsType(string type) => type.Length > 0 && char.IsAsciiLetterUpper(type[0]) && type.All(char.IsAsciiLetter);

        static string? PersonOf(JsonElement resource) =>
            new[] { "subject", "patient", "for" }.Select(name => resource.TryGetProperty(name, out var who) && who.TryGetProperty("reference", out var reference) ? reference.GetString() : null).FirstOrDefault(r => r is not null);
    }

    /// <summary>A red flag is cleared by a clinician with a reason; it is not written away in a note.</summary>
    private static void RefuseRedFlag(NoteInHand hand, NoteStatement statement, string done)
    {
        if (hand.Kind.RedFlagRules.Contains(statement.Rule))
            throw Missing.Bad("statement", $"statement is '{Rules.Shown(statement.Id)}', which tells of an open red flag and is not {done}; clear the flag (POST /api/flags/{{id}}/clearance) and refresh the note, or add a statement of your own beside it.");
    }

    private static void Restore(NoteStatement statement)
    {
        statement.Held.Text = Prose.Of(Prose.Paragraph(statement.Drafted!));
        statement.Held.Author.Clear();
        foreach (var url in Touched)
            statement.Held.RemoveExtension(url);
    }

    internal static readonly string[] Touched = [Extensions.StatementState, Extensions.StatementChanged, Extensions.DraftedText, Extensions.RemovalReason, Extensions.NeedsALook];

    private static void Mark(NoteStatement statement, string state, ResourceReference who, DateTimeOffset now)
    {
        statement.Held.SetExtension(Extensions.StatementState, new Code(state));
        statement.Held.SetExtension(Extensions.StatementChanged, new Instant(now));
        statement.Held.Author = [(ResourceReference)who.DeepCopy()];
    }

    /// <summary>Typed by a person, so more than what was generated (R4, narrative status).</summary>
    private static Narrative Typed(string text) => new() { Status = Narrative.NarrativeStatus.Additional, Div = Prose.Of(Prose.Paragraph(text)).Div };
}
