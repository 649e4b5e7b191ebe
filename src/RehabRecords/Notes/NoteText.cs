using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Documents;

namespace RehabRecords.Notes;

/// <summary>A note as plain text, for a terminal or for pasting into a system that takes no more.</summary>
public static class NoteText
{
    private const int Width = 96;

    public static string Of(Composition note, DocumentKind kind)
    {
        var text = new StringBuilder();
        var statements = NoteStatement.Of(note, kind);
        foreach (var urgent in statements.Where(s => s.IsUrgent))
            Wrap(text, "!! ", urgent.Text);
        var period = note.Event.FirstOrDefault()?.Period;
        Wrap(text, "", Presentation.Mark(note));
        Wrap(text, "", note.Title ?? kind.Name);
        Wrap(text, "", $"Person: {note.Subject?.Display}. From {Day(period?.Start)} to {Day(period?.End)}. Author: {string.Join("; ", note.Author.Select(a => a.Display))}.");
        foreach (var part in note.Section)
        {
            text.Append('\n').Append((part.Title ?? "").ToUpperInvariant()).Append('\n');
            foreach (var statement in statements.Where(s => s.Part == part))
                Wrap(text, "- ", statement.Text + Theirs(statement));
            if (part.Section.Count == 0)
                Wrap(text, "  ", part.EmptyReason?.Text ?? "");
        }
        return text.ToString();
    }

    /// <summary>Whose words they are, where they are not the software's.</summary>
    internal static string Theirs(NoteStatement statement) => statement.State switch
    {
        StatementState.Edited => $" (edited by {statement.By})",
        StatementState.Own => $" (written by {statement.By})",
        _ => "",
    };

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
