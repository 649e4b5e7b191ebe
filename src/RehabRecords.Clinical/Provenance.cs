namespace RehabRecords.Clinical;

/// <summary>How far a value of the catalogue can be trusted. Shown wherever the value is shown.</summary>
public enum Mark
{
    /// <summary>Seen in the paper, abstract, guideline or standard that is cited.</summary>
    Published,

    /// <summary>Seen only in a secondary text, which is named.</summary>
    Secondary,

    /// <summary>Arithmetic done here on published numbers; not itself a published value.</summary>
    Computed,

    /// <summary>Not confirmed against any text; never used to classify, and always shown as such.</summary>
    FromMemory,

    /// <summary>Common practice without a source; a local rule that a clinic may set otherwise.</summary>
    CommonPractice,
}

/// <summary>Where a value comes from.</summary>
/// <param name="Citation">Authors, year, journal; or the words "common practice" for a local rule.</param>
/// <param name="Mark">How far the value was confirmed.</param>
/// <param name="Note">What a reader must know besides, for example which part was computed; null when nothing.</param>
public sealed record Source(string Citation, Mark Mark, string? Note = null)
{
    /// <summary>The mark in the words a reader sees.</summary>
    public string MarkText => Mark switch
    {
        Mark.Published => "published",
        Mark.Secondary => "secondary source",
        Mark.Computed => "computed from published values",
        Mark.FromMemory => "from memory, not confirmed",
        _ => "common practice, no source",
    };

    /// <summary>Citation, mark and note, for whoever weighs the value.</summary>
    public string InFull => With(Note is { } note ? $"{MarkText}; {note}" : MarkText);

    /// <summary>Citation, with the mark unless it is published.</summary>
    public override string ToString() => Mark == Mark.Published ? Citation : With(MarkText);

    // A local rule cites nothing but its mark: said once is enough.
    private string With(string remark) => Mark == Mark.CommonPractice && Citation == "common practice" ? remark : $"{Citation} ({remark})";
}
