using DiffPlex;
using DiffPlex.Chunkers;
using DiffPlex.DiffBuilder;
using DiffPlex.DiffBuilder.Model;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>Words that stayed, came or went.</summary>
/// <param name="Change">same, inserted or deleted.</param>
public sealed record WordChange(string Change, string Text);

/// <summary>What became of one statement from one version of a document to another.</summary>
/// <param name="Change">same, added, gone or changed.</param>
/// <param name="WordChanges">Word by word; null unless the words changed.</param>
/// <param name="EvidenceAdded">Evidence that only the later version names.</param>
public sealed record StatementDifference(
    string Id, string Section, string Change, string Words, string? Before, string? After, string? StateBefore, string? StateAfter, string? By,
    IReadOnlyList<WordChange>? WordChanges, IReadOnlyList<string> EvidenceAdded, IReadOnlyList<string> EvidenceGone)
{
    public const string Same = "same";
    public const string Added = "added";
    public const string Gone = "gone";
    public const string Changed = "changed";

    /// <summary>In the order of the later version; what is gone stands where it stood.</summary>
    public static IReadOnlyList<StatementDifference> Between(IReadOnlyList<NoteStatement> before, IReadOnlyList<NoteStatement> after)
    {
        var earlier = before.ToDictionary(s => s.Id, StringComparer.Ordinal);
        var later = after.Select(s => s.Id).ToHashSet(StringComparer.Ordinal);
        var found = after.Select(s => Of(earlier.GetValueOrDefault(s.Id), s)).ToList();
        for (var i = 0; i < before.Count; i++)
            if (!later.Contains(before[i].Id))
            {
                var place = i == 0 ? -1 : found.FindIndex(d => d.Id == before[i - 1].Id);
                found.Insert(place + 1, Of(before[i], null));
            }
        return found;
    }

    private static StatementDifference Of(NoteStatement? before, NoteStatement? after)
    {
        var one = after ?? before!;
        var change = (before, after) switch
        {
            (null, _) => Added,
            (_, null) => Gone,
            _ when before.Text == after.Text && before.State == after.State && before.Evidence.SequenceEqual(after.Evidence) && before.NeedsALook == after.NeedsALook => Same,
            _ => Changed,
        };
        var by = after is { IsTouched: true } && (before is null || before.At != after.At || before.By != after.By) ? after.By : null;
        var shown = $"“{Rules.Shown(one.Text)}”";
        var words = change switch
        {
            Added => $"New{(by is null ? "" : $", by {by}")}: {shown}",
            Gone => $"No longer there: {shown}",
            Same => "Unchanged.",
            _ when after!.Text == before!.Text => $"{(after.State == StatementState.Accepted ? "Accepted" : "The same words, with other evidence or another mark")}{(by is null ? "" : $" by {by}")}: {shown}",
            _ => $"Was “{Rules.Shown(before.Text)}”, is now {shown}{(by is null ? "" : $", {after.State} by {by}")}",
        };
        return new StatementDifference(
            one.Id, Parts.NameOf(one.Part), change, words, before?.Text, after?.Text, before?.State, after?.State, by,
            before is not null && after is not null && before.Text != after.Text ? WordsOf(before.Text, after.Text) : null,
            [.. (after?.Evidence ?? []).Except(before?.Evidence ?? [])], [.. (before?.Evidence ?? []).Except(after?.Evidence ?? [])]);
    }

    /// <summary>Word by word; neighbours of one kind are joined.</summary>
    public static IReadOnlyList<WordChange> WordsOf(string before, string after)
    {
        var pieces = new InlineDiffBuilder(new Differ()).BuildDiffModel(before, after, ignoreWhitespace: false, ignoreCase: false, WordChunker.Instance).Lines;
        var joined = new List<WordChange>();
        foreach (var piece in pieces)
        {
            var change = piece.Type switch { ChangeType.Inserted => "inserted", ChangeType.Deleted => "deleted", _ => "same" };
            if (joined.Count > 0 && joined[^1].Change == change)
                joined[^1] = joined[^1] with { Text = joined[^1].Text + piece.Text };
            else
                joined.Add(new WordChange(change, piece.Text));
        }

        return joined;
    }
}
