namespace RehabRecords.Fhir.Validation;

/// <summary>What a record asks for beyond R4 itself.</summary>
public sealed record ValidationRules
{
    public static ValidationRules Default { get; } = new();

    /// <summary>Refuse HTML tags in plain text: no text of the record is ever meant to be rendered as HTML.</summary>
    public bool RefuseMarkupInText { get; init; } = true;

    /// <summary>Refuse extensions whose definition the pack does not hold.</summary>
    public bool RefuseUnknownExtensions { get; init; } = true;

    /// <summary>The value set (its last path segment) that lists the LOINC codes our profiles use.</summary>
    public string ListedLoinc { get; init; } = "loinc-used";

    /// <summary>Problems reported for one resource.</summary>
    public int MaxIssues { get; init; } = 100;
}
