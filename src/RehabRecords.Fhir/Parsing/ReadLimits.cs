namespace RehabRecords.Fhir.Parsing;

/// <summary>How much a body may ask of the reader. Each limit was set after a body that cost too much without it.</summary>
public sealed record ReadLimits
{
    public static ReadLimits Default { get; } = new();

    /// <summary>Bytes of a body.</summary>
    public int MaxBytes { get; init; } = 10 * 1024 * 1024;

    /// <summary>Nesting. A deeply nested body would end the process with a stack overflow, which nothing can catch.</summary>
    public int MaxDepth { get; init; } = 64;

    /// <summary>Elements in one array.</summary>
    public int MaxArrayLength { get; init; } = 10_000;

    /// <summary>Properties of one object; the widest type of R4 has about a third of it.</summary>
    public int MaxMembers { get; init; } = 200;

    /// <summary>Problems reported at once. Each costs kilobytes while a body is read.</summary>
    public int MaxIssues { get; init; } = 100;

    /// <summary>Bytes that an element has on average in the densest body we accept, beyond the first thousand elements.</summary>
    public int BytesPerElement { get; init; } = 14;
}
