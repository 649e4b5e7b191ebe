using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Terms;

namespace RehabRecords.Documents;

/// <summary>How the draft as the record would have it now differs from what the note was drafted from.</summary>
/// <param name="Change">new, changed, gone, or evidence where the words are the same and rest on something else.</param>
/// <param name="Before">What was drafted; null for a new one.</param>
/// <param name="Now">What would be drafted now; null for one that is gone.</param>
public sealed record DraftChange(string Id, string Section, string Change, string? Before, string? Now);

/// <summary>
/// Sets an edited draft beside the draft that the record would give now. Nothing is stored about it: whether a draft is
/// stale is worked out whenever it is asked, so it cannot be wrong.
/// </summary>
public static class FreshDraft
{
    /// <summary>The words are the same and rest on something else.</summary>
    public const string OtherEvidence = "evidence";

    /// <summary>What has changed since; empty when the note is up to date.</summary>
    public static IReadOnlyList<DraftChange> Changes(Composition note, Composition fresh, DocumentKind kind)
    {
        var held = NoteStatement.Of(note, kind).Where(s => s.State != StatementState.Own).ToList();
        var now = NoteStatement.Of(fresh, kind);
        var byId = now.ToDictionary(s => s.Id, StringComparer.Ordinal);
        var known = held.Select(s => s.Id).ToHashSet(StringComparer.Ordinal);
        return
        [
            .. from f in now where !known.Contains(f.Id) select new DraftChange(f.Id, Parts.NameOf(f.Part), "new", null, f.Text),
            .. from h in held
               let f = byId.GetValueOrDefault(h.Id)
               // What a clinician has taken out need not be gone for the note to be right.
               where f is not null || h.State != StatementState.Removed
               let change = f is null ? "gone" : f.Text != h.Drafted ? "changed" : f.Evidence.SequenceEqual(h.Evidence) ? null : OtherEvidence
               where change is not null
               select new DraftChange(h.Id, Parts.NameOf(h.Part), change, h.Drafted, f?.Text),
        ];
    }

    /// <summary>
    /// Puts the fresh draft in place of the old one and keeps what clinicians did: own statements stay where they stood;
    /// edits and removals stay, and need a look where what was drafted has changed; an acceptance stays with the very words
    /// that were accepted.
    /// </summary>
    public static void Merge(Composition note, Composition fresh, DocumentKind kind)
    {
        var held = NoteStatement.Of(note, kind);
        var byId = held.ToDictionary(s => s.Id, StringComparer.Ordinal);
        foreach (var part in note.Section)
        {
            var now = fresh.Section.Find(s => SameCode(s, part));
            var merged = (now?.Section ?? []).Select(f => byId.GetValueOrDefault(f.ElementId!) is { } h ? Merged(h, f) : f).ToList();
            // What the fresh draft no longer has, and clinicians keep, follows what it followed before.
            string? before = null;
            foreach (var h in held.Where(s => s.Part == part))
            {
                if (!merged.Exists(s => s.ElementId == h.Id) && h.State is StatementState.Own or StatementState.Edited or StatementState.Removed)
                {
                    if (h.State == StatementState.Edited)
                        MakeOwn(h);
                    merged.Insert(before is null ? 0 : merged.FindIndex(s => s.ElementId == before) + 1, h.Held);
                }
                if (merged.Exists(s => s.ElementId == h.Held.ElementId))
                    before = h.Held.ElementId;
            }

            part.Section = merged;
            if (merged.Count == 0)
                part.EmptyReason = now?.EmptyReason;
        }

        note.Event = fresh.Event;
    }

    /// <summary>Nothing is drafted any more that these words could stand in place of: they are the clinician's own now.</summary>
    private static void MakeOwn(NoteStatement held)
    {
        held.Held.SetStringExtension(Extensions.NeedsALook, $"The software no longer drafts what was edited here: “{held.DraftedText}”");
        held.Held.SetExtension(Extensions.StatementState, new Code(StatementState.Own));
        held.Held.Code = NoteStatement.OwnCode();
        // Should it be drafted again, it is another statement.
        held.Held.ElementId = $"{NoteStatement.OwnRule}.{NewId.Next()}";
    }

    private static Composition.SectionComponent Merged(NoteStatement held, Composition.SectionComponent fresh)
    {
        var words = Prose.Words(fresh.Text!.Div!);
        switch (held.State)
        {
            case StatementState.Accepted when held.Text == words:
                held.Held.Entry = fresh.Entry;
                return held.Held;
            case StatementState.Edited or StatementState.Removed:
                if (held.DraftedText != words)
                {
                    held.Held.SetStringExtension(Extensions.NeedsALook, $"What was drafted here has changed; it was “{held.DraftedText}”");
                    held.Held.SetStringExtension(Extensions.DraftedText, words);
                }
                held.Held.Entry = fresh.Entry;
                return held.Held;
            default:
                if (held.State == StatementState.Accepted)
                    fresh.SetStringExtension(Extensions.NeedsALook, $"{held.By} accepted other words: “{held.Text}”");
                else if (held.NeedsALook is { } still)
                    fresh.SetStringExtension(Extensions.NeedsALook, still);
                return fresh;
        }
    }

    private static bool SameCode(Composition.SectionComponent one, Composition.SectionComponent other) =>
        one.Code?.Coding.FirstOrDefault() is { } code ? other.Code?.Coding.Exists(c => c.System == code.System && c.Code == code.Code) == true : one.Title == other.Title;
}
