using RehabRecords.Clinical;

namespace RehabRecords.Pages;

/// <summary>One sentence for each word of the pages that may need one, with where it comes from.</summary>
public sealed record Explanation(string Id, string Word, string Meaning, string Source);

internal static class Explanations
{
    private const string Practice = "common practice, no source";

    public static readonly IReadOnlyList<Explanation> All =
    [
        new("unknown", "Unknown", "A day on which practice was due and nobody reported anything: it may have been done or not, so it counts neither as done nor as missed.", Practice),
        new("bounds", "Between … and … %", "Adherence if every unknown occasion was missed, and if every unknown occasion was done; the truth lies between the two.", Practice),
        new("adherent", "Adherent", $"{AdherenceRule.MoreThan70.Title}, unless the clinic set another definition.", AdherenceRule.MoreThan70.Source.ToString()),
        new("extra", "Extra", "Practice beyond what was due; it never makes up for another day, and much of it is a reason to look.", Practice),
        new("measurement-error", "Measurement error (minimal detectable change)", "The smallest change that is unlikely to be chance when one person is measured twice; each value on a page names the study it comes from.", "Each threshold row of the catalogue names its study"),
        new("important", "Important change", "The smallest change that people or clinicians called better, on average of a group; it says nothing certain of one person.", "Each threshold row of the catalogue names its study"),
        new("below-detectable", "Below measurement error", "The change is smaller than what repeating the test may bring by chance: it is not evidence of change.", Practice),
        new("detectable-below-important", "Beyond measurement error, below importance", "Probably a true change, but smaller than what people called important.", Practice),
        new("important-within-error", "Important, inside measurement error", "As large as an important change, but chance alone could bring it: measure again before relying on it.", Practice),
        new("both", "Beyond measurement error and important", "Larger than chance is likely to bring, and as large as what people called important.", Practice),
        new("category", "Change of category", "From not being able to complete the test to a value, or the other way: told as such and never as a number, because the time limit is not a result.", Practice),
        new("norm", "Norm", "What people of the same age, sex and hand without a stroke reached; it describes and is no target.", "Each norm table names its study"),
        new("suggestion", "Suggestion", "What the rules of progression say of the results, with the rule and its inputs; it changes nothing until a clinician decides.", "The rules in force with their sources: /api/rules"),
        new("frozen", "Frozen", "An open red flag stops every suggestion to go on, until a clinician has cleared it with a reason.", Practice),
        new("red-flag", "Red flag", "Something reported that may need quick action; it is a prompt for a clinician and not a diagnosis.", "The catalogue of red flags with their sources: /api/rules"),
        new("t-score", "T-score of goal attainment", "One figure for the levels attained over all goals, 50 when every goal is at the level expected; the same goals stand in both scores.", "Kiresuk and Sherman 1968, formula as in the catalogue"),
        new("draft", "Draft", "Written by software from recorded results; it becomes part of the clinical record only when a registered clinician has checked and signed it.", Practice),
    ];

    public static Explanation Get(string id) => All.First(e => e.Id == id);

    /// <summary>The explanation that fits a class of change; null where there is nothing to explain.</summary>
    public static Explanation? Of(ChangeClass change) => change switch
    {
        ChangeClass.BelowDetectable => Get("below-detectable"),
        ChangeClass.DetectableBelowImportant => Get("detectable-below-important"),
        ChangeClass.ImportantWithinError => Get("important-within-error"),
        ChangeClass.Both => Get("both"),
        ChangeClass.CategoryChange or ChangeClass.SameCategory => Get("category"),
        ChangeClass.DetectableImportanceUnknown => Get("measurement-error"),
        ChangeClass.ImportantErrorUnknown or ChangeClass.BelowImportantErrorUnknown => Get("important"),
        _ => null,
    };
}
