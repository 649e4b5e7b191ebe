using System.Text;
using Hl7.Fhir.Model;

namespace RehabRecords.Notes;

/// <summary>A note as plain text, for a terminal or for pasting into a system that takes no more.</summary>
public static class NoteText
{
    private const int Width = 96;

    public static string Of(Composition note, IReadOnlyList<Statement> statements)
    {
        var text = new StringBuilder();
        foreach (var urgent in statements.Where(s => s.Rule.Id == NoteRules.UrgentFlag.Id))
            Wrap(text, "!! ", urgent.Text);
        var period = note.Event.FirstOrDefault()?.Period;
        Wrap(text, "", note.Status == CompositionStatus.Preliminary ? Prose.DraftMark : "");
        Wrap(text, "", note.Title ?? "Progress note");
        Wrap(text, "", $"Person: {note.Subject?.Display}. From {Day(period?.Start)} to {Day(period?.End)}. Author: {note.Author.FirstOrDefault()?.Display}.");
        foreach (var section in Headings.Of(note).Select(h => h.Section))
        {
            text.Append('\n').Append(Headings.Title(section).ToUpperInvariant()).Append('\n');
            var own = statements.Where(s => s.Section == section).ToList();
            foreach (var statement in own)
                Wrap(text, "- ", statement.Text);
            if (own.Count == 0)
                Wrap(text, "  ", Headings.WhenEmpty(section));
        }
        return text.ToString();
    }

    private static string Day(string? day) => DateOnly.TryParse(day, out var date) ? Wording.Date(date) : "(no date)";

    private const char Glue = '\u00A0';

    /// <summary>A per cent sign stays with its number.</summary>
    private static string Unbroken(string words) => words.Replace(" %", $"{Glue}%", StringComparison.Ordinal);

    /// <summary>Breaks at spaces; later lines stand under the first.</summary>
    private static void Wrap(StringBuilder text, string lead, string words)
    {
        if (words.Length == 0)
            return;
        var line = new StringBuilder(lead);
        var indent = new string(' ', lead.Length);
        var fresh = true;
        foreach (var word in Unbroken(words).Split([' ', '\n', '\r', '\t'], StringSplitOptions.RemoveEmptyEntries))
        {
            if (!fresh && line.Length + 1 + word.Length > Width)
            {
                text.Append(line).Append('\n');
                line.Clear().Append(indent);
                fresh = true;
            }
            if (!fresh)
                line.Append(' ');
            line.Append(word.Replace(Glue, ' '));
            fresh = false;
        }
        text.Append(line).Append('\n');
    }
}
