using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using RehabRecords.Trade;

namespace RehabRecords.Sessions;

/// <summary>One practice occasion: done, or missed with the reason; or an event that is to be known at once.</summary>
public sealed record SessionRequest
{
    public const int MostSets = 100;
    public const int MostRepetitions = 10_000;
    public const int MostMinutes = 1440;

    [Description("The sender's own identifier of this session; the same one posted again answers the first result.")]
    public BusinessId? Identifier { get; init; }

    [Required, Description("The person's id.")]
    public string? Person { get; init; }

    [Required, Description("Id of the person's programme.")]
    public string? Programme { get; init; }

    [Description("When it was done, with the offset (RFC 3339). Late reports are placed by this time, whenever they arrive. Leave it out for a missed session.")]
    public DateTimeOffset? DoneAt { get; init; }

    [Description("For a session that was planned and not done; then there are no exercises and no doneAt.")]
    public MissedRequest? Missed { get; init; }

    [Required, Description("Who reports.")]
    public ReporterRequest? ReportedBy { get; init; }

    [Description("The reporter's own words, kept as they are.")]
    public string? Remark { get; init; }

    [Description("What was done of each exercise. What was not recorded is left out, never sent as 0.")]
    public IReadOnlyList<ResultRequest>? Exercises { get; init; }

    [Description("Harm that came about in or around the session.")]
    public IReadOnlyList<HarmRequest>? AdverseEvents { get; init; }

    [Description("Red flags the reporter ticked: face-droop, new-weakness, speech-change, sudden-numbness, vision-loss, sudden-confusion, severe-headache, chest-pain, "
        + "severe-breathlessness, collapse, seizure, fall-with-injury, head-injury, fall-without-injury, burn-or-scald, skin-damage, new-swelling, pain-above-limit, "
        + "pain-lasting, night-pain, palpitations, dizziness.")]
    public IReadOnlyList<string>? RedFlags { get; init; }
}

public sealed record MissedRequest
{
    [Required, Description("Day it was planned for, in the programme's zone.")]
    public DateOnly? PlannedFor { get; init; }

    [Required, Description("fatigue, pain, unwell, no-carer, no-time, forgot, no-equipment, appointment, away, too-hard, declined or other.")]
    public string? Reason { get; init; }

    [Description("More about it, in the reporter's words.")]
    public string? Note { get; init; }
}

public sealed record ReporterRequest
{
    [Required, Description("patient, carer, clinician or support-worker.")]
    public string? Role { get; init; }

    [Description("Name; not needed for the patient.")]
    public string? Name { get; init; }
}

public sealed record ResultRequest
{
    [Required, Description("Id of the prescribed exercise, or the exercise's code.")]
    public string? Exercise { get; init; }

    [Range(0, SessionRequest.MostSets), Description("Sets done, 0 to 100.")]
    public int? Sets { get; init; }

    [Range(0, SessionRequest.MostRepetitions), Description("Repetitions done over all sets together, 0 to 10000.")]
    public int? Repetitions { get; init; }

    [Range(0, SessionRequest.MostRepetitions), Description("Of these, repetitions that served the task's purpose, 0 to 10000.")]
    public int? PurposefulRepetitions { get; init; }

    [Range(0, SessionRequest.MostMinutes), Description("Minutes of practice, 0 to 1440.")]
    public decimal? Minutes { get; init; }

    [Description("Help given: independent, set-up, verbal-prompt or hands-on.")]
    public string? Help { get; init; }

    [Description("Side that practised: left, right or both. Tells apart the same exercise prescribed for both sides.")]
    public string? Side { get; init; }

    [Range(0, 10), Description("Pain before, 0 (none) to 10 (worst imaginable).")]
    public int? PainBefore { get; init; }

    [Range(0, 10), Description("Worst pain during, 0 to 10.")]
    public int? PainDuring { get; init; }

    [Range(0, 10), Description("Pain after, 0 to 10.")]
    public int? PainAfter { get; init; }

    [Description("Perceived exertion with the scale it was taken on; the two scales are never mixed.")]
    public ExertionRequest? Exertion { get; init; }

    [Range(0, 10), Description("Fatigue, 0 to 10.")]
    public int? Fatigue { get; init; }

    [Description("The exercise's own success criterion: met, partly-met or not-met.")]
    public string? Quality { get; init; }

    [Description("For an exercise that was left out of a session; then nothing else is given of it.")]
    public SkippedRequest? Skipped { get; init; }

    internal bool SaysWhatWasDone => (Sets, Repetitions, PurposefulRepetitions, Minutes, Help, PainBefore, PainDuring, PainAfter, Exertion, Fatigue, Quality)
        is not (null, null, null, null, null, null, null, null, null, null, null);
}

public sealed record ExertionRequest
{
    [Required, Description("\"0-10\" or \"6-20\".")]
    public string? Scale { get; init; }

    [Required, Range(0, 20), Description("0 to 10 in half points, or 6 to 20 in whole numbers.")]
    public decimal? Value { get; init; }
}

public sealed record SkippedRequest
{
    [Required, Description("fatigue, pain, unwell, no-carer, no-time, forgot, no-equipment, appointment, away, too-hard, declined or other.")]
    public string? Reason { get; init; }

    [Description("More about it, in the reporter's words.")]
    public string? Note { get; init; }
}

public sealed record HarmRequest
{
    [Required, Description("fall, skin-injury, burn-or-scald, pain-flare, swelling or other.")]
    public string? Kind { get; init; }

    [Required, Description("mild, moderate or severe.")]
    public string? Severity { get; init; }

    [Required, Description("What happened, in the reporter's words.")]
    public string? Description { get; init; }
}
