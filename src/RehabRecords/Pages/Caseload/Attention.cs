namespace RehabRecords.Pages.Caseload;

/// <summary>Why a person needs a clinician's eyes, the most pressing first. A choice of ours: common practice, no source.</summary>
public enum AttentionKind
{
    RedFlag,
    Conflict,
    Briefing,
    Task,
    Draft,
    Quiet,
    Ending,
    Goal,
}

/// <summary>One reason to look at a person.</summary>
/// <param name="Text">The reason in words.</param>
/// <param name="Since">The day it dates from; the earlier, the higher in its kind.</param>
/// <param name="Link">Where it is dealt with.</param>
public sealed record Attention(AttentionKind Kind, string Text, DateOnly Since, string Link);

internal static class AttentionKinds
{
    public static readonly IReadOnlyList<(AttentionKind Kind, string Code, string Words)> All =
    [
        (AttentionKind.RedFlag, "red-flag", "Red flag not cleared"),
        (AttentionKind.Conflict, "conflict", "Changed here and by another team"),
        (AttentionKind.Briefing, "briefing", "Briefing not acknowledged"),
        (AttentionKind.Task, "task", "Open task"),
        (AttentionKind.Draft, "draft", "Draft waiting for review"),
        (AttentionKind.Quiet, "quiet", "No report for some days"),
        (AttentionKind.Ending, "ending", "Programme ends or has ended"),
        (AttentionKind.Goal, "goal", "Goal due"),
    ];

    public static AttentionKind? Find(string? code) => All.Where(k => k.Code == code).Select(k => (AttentionKind?)k.Kind).FirstOrDefault();
}
