namespace RehabRecords.Notes;

/// <summary>The four parts of the note, in the order they are read.</summary>
public enum NoteSection
{
    Subjective,
    Objective,
    Assessment,
    Plan,
}

/// <summary>A number a statement gives, with its UCUM unit, so that it can be read without parsing the sentence.</summary>
public sealed record StatedValue(decimal Number, string Unit);

/// <summary>
/// One sentence of a note. It comes from a documented rule and rests on evidence: there is no way to make one without
/// either, since only <see cref="NoteRule.State"/> makes statements and <see cref="Evidence"/> is never empty.
/// </summary>
public sealed record Statement
{
    internal Statement(string id, NoteRule rule, string text, Evidence evidence, IReadOnlyList<StatedValue> values)
    {
        ArgumentException.ThrowIfNullOrWhiteSpace(id);
        ArgumentException.ThrowIfNullOrWhiteSpace(text);
        ArgumentNullException.ThrowIfNull(evidence);
        (Id, Rule, Text, Evidence, Values) = (id, rule, text, evidence, values);
    }

    /// <summary>The same for the same thing in every version of a note: the rule and what it speaks of.</summary>
    public string Id { get; }

    public NoteRule Rule { get; }

    public NoteSection Section => Rule.Section;

    /// <summary>A code of <see cref="Terms.StatementKind"/>.</summary>
    public string Kind => Rule.Kind;

    public string Text { get; }

    public Evidence Evidence { get; }

    public IReadOnlyList<StatedValue> Values { get; }
}

/// <summary>Why and when a sentence is written. docs/note-rules.md lists every rule; a test holds the two together.</summary>
/// <param name="Id">Code in the code system note-rule.</param>
/// <param name="Pattern">The sentence, with what varies in braces.</param>
/// <param name="When">The condition in plain words.</param>
/// <param name="Source">Where the rule comes from, with its provenance mark.</param>
public sealed record NoteRule(string Id, NoteSection Section, string Kind, string Pattern, string When, string Source)
{
    /// <param name="subject">What the sentence speaks of, so that one rule can speak of several things; empty for the whole programme.</param>
    public Statement State(string subject, string text, Evidence evidence, params IReadOnlyList<StatedValue> values) =>
        new(subject.Length == 0 ? Id : $"{Id}.{subject}", this, text, evidence, values);
}
