using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Progress;

/// <summary>The person as far as a note needs it.</summary>
public sealed record PersonRecord(string Id, string Evidence, string Name, PersonContext Context)
{
    public string Address => $"Patient/{Id}";
}

/// <summary>The programme as prescribed.</summary>
/// <param name="Evidence">Exact version of the CarePlan.</param>
/// <param name="PainLimit">0 to 10; pain above it raises a flag.</param>
public sealed record ProgrammeOutline(
    string Id, string Evidence, string Title, DateOnly Start, DateOnly? End, string TimeZone, int PainLimit, int? Level = null, string? LevelReason = null);

/// <summary>A prescribed exercise, with the side it is for, which the calculations do not need but a reader does.</summary>
public sealed record Prescription(PlannedExercise Planned, Side? Side)
{
    /// <summary>Id of the ServiceRequest of this version; that of the first version is the id of <see cref="Planned"/>.</summary>
    public string Request { get; init; } = Planned.Id;

    /// <summary>The same from a later day on.</summary>
    internal Prescription From(DateOnly day) => this with { Planned = Planned with { Schedule = Planned.Schedule with { Start = day } } };

    public bool HoldsOn(DateOnly day) => Planned.Schedule.Start <= day && (Planned.Schedule.End is null || Planned.Schedule.End >= day);

    /// <summary>Codes of the cautions attached to the exercise.</summary>
    public IReadOnlyList<string> CautionTags { get; init; } = [];

    /// <summary>Codes of those that the prescription says apply to the person.</summary>
    public IReadOnlyList<string> CautionsTold { get; init; } = [];
}

/// <summary>A precaution that holds for everything the person practises.</summary>
public sealed record PersonPrecaution(string Id, string Evidence, string Code, DateOnly? Since);

/// <summary>Days on which nothing is due, and who decided so.</summary>
public sealed record ProgrammePause(Pause Days, string By)
{
    public DateTimeOffset? At { get; init; }

    public string? EndedBy { get; init; }

    public DateTimeOffset? EndedAt { get; init; }
}

/// <summary>What a clinician decided about one exercise.</summary>
/// <param name="Planned">Id of the prescription, whichever of its versions was decided on.</param>
/// <param name="Code">A code of <see cref="Terms.DecisionCode"/>.</param>
/// <param name="From">First day on which it holds.</param>
/// <param name="By">Name and role, as they stood.</param>
public sealed record Decision(string Id, string Evidence, string Planned, string Code, DateOnly From, DateTimeOffset At, string By)
{
    /// <summary>The same for all changes of one revision; null for a decision by itself.</summary>
    public string? Group { get; init; }

    public string? Reason { get; init; }

    /// <summary>What was suggested when it was made, and by which rule.</summary>
    public string? Suggested { get; init; }

    public string? Rule { get; init; }

    public string? Dimension { get; init; }

    public string? Step { get; init; }

    /// <summary>Whether it locks or unlocks the level; null leaves that as it was.</summary>
    public bool? Lock { get; init; }

    /// <summary>What it changed in the prescription, in words; null when nothing.</summary>
    public string? Change { get; init; }

    /// <summary>A decision on a suggestion, rather than a revision of the programme.</summary>
    public bool AnswersSuggestion => Suggested is not null;

    /// <summary>Whether it departs from what was suggested. To stop is the clinician's own; "stop and review" asks for no more than a review.</summary>
    public bool Overrides => AnswersSuggestion && Suggested != Code && (Code, Suggested) != (Terms.DecisionCode.Stop, "stop-and-review");
}

/// <summary>Who reports. What a patient or carer says is theirs and stays attributed to them.</summary>
/// <param name="Role">patient, carer, clinician or support-worker.</param>
public sealed record Reporter(string Role, string? Name);

/// <summary>A practice occasion with the reporter's own words.</summary>
/// <param name="Remarks">As typed, oldest first.</param>
public sealed record Session(string Id, SessionReport Report, Reporter Reporter, IReadOnlyList<string> Remarks)
{
    public IReadOnlyList<ResultRemark> ResultRemarks { get; init; } = [];
}

/// <summary>The reporter's words on one exercise, such as why it was skipped.</summary>
public sealed record ResultRemark(string Planned, string Evidence, string Words);

/// <summary>Harm that was reported, with the reporter's words.</summary>
public sealed record Harm(HarmReport Report, DateOnly Day, Reporter? Reporter, string? Description);

/// <summary>A level attained at a time.</summary>
public sealed record AttainedLevel(DateTimeOffset At, int Level, string Evidence);

/// <summary>A goal with its five described levels, and the levels attained so far, oldest first.</summary>
public sealed record ProgrammeGoal(
    string Id, string Evidence, string Description, IReadOnlyDictionary<int, string> Levels,
    int? Importance, int? Difficulty, DateOnly? Due, IReadOnlyList<AttainedLevel> Attained);

/// <summary>A red flag of the person, open until a clinician has cleared it.</summary>
/// <param name="Source">Address of the session or result that raised it, when it is recorded.</param>
/// <param name="Words">What raised it, in words.</param>
public sealed record RaisedRedFlag(string Id, string Evidence, string Code, DateTimeOffset Since, bool Open, string? Source, string? Words = null);

/// <summary>
/// Everything the record holds of one programme, as plain values; each carries the exact version it was read from.
/// Lists are ordered by when things were done, never by when they arrived.
/// </summary>
public sealed record ProgrammeRecord(PersonRecord Person, ProgrammeOutline Programme)
{
    public IReadOnlyList<Prescription> Prescriptions { get; init; } = [];

    public IReadOnlyList<Session> Sessions { get; init; } = [];

    public IReadOnlyList<Harm> Harms { get; init; } = [];

    public IReadOnlyList<MeasureResult> Measures { get; init; } = [];

    public IReadOnlyList<ProgrammeGoal> Goals { get; init; } = [];

    public IReadOnlyList<RaisedRedFlag> RedFlags { get; init; } = [];

    /// <summary>Active ones.</summary>
    public IReadOnlyList<PersonPrecaution> Precautions { get; init; } = [];

    /// <summary>In the order in which they were made.</summary>
    public IReadOnlyList<Decision> Decisions { get; init; } = [];

    public IReadOnlyList<ProgrammePause> Pauses { get; init; } = [];

    /// <summary>When the latest of all this reached the record.</summary>
    public DateTimeOffset EvidenceAt { get; init; }

    /// <summary>Place of the last commit before the reading began; what was committed later may be missing here.</summary>
    internal long ReadAt { get; init; } = long.MaxValue;

    /// <summary>What it was read from, but for Observations; empty in a record made by hand.</summary>
    internal IReadOnlyList<Resource> Resources { get; init; } = [];

    /// <summary>What the person's Observations say, also those that count for nothing here.</summary>
    internal IReadOnlyList<RecordedResult> Results { get; init; } = [];

    public IReadOnlyList<PlannedExercise> Plan => [.. Prescriptions.Select(p => p.Planned)];

    /// <summary>What the programme asks for on its latest day: of a changed exercise the version that holds then.</summary>
    public IReadOnlyList<Prescription> InForce
    {
        get
        {
            var day = Programme.End is { } end && end < AsOf ? end : AsOf;
            return [.. Prescriptions.GroupBy(p => p.Planned.Id).Select(versions =>
                versions.LastOrDefault(v => v.HoldsOn(day)) ?? versions.FirstOrDefault(v => v.Planned.Schedule.Start > day)).OfType<Prescription>()];
        }
    }

    public IReadOnlyList<SessionReport> Reports => [.. Sessions.Select(s => s.Report)];

    /// <summary>
    /// The day of the latest result. A note is as of this day and never as of today, so that it says the same
    /// whenever it is computed.
    /// </summary>
    public DateOnly AsOf => Sessions.Select(s => s.Report.Day)
        .Concat(Measures.Select(m => Schedule.DayOf(m.MeasuredAt, Programme.TimeZone)))
        .Concat(Goals.SelectMany(g => g.Attained).Select(a => Schedule.DayOf(a.At, Programme.TimeZone)))
        .Append(Programme.Start)
        .Max();

    /// <summary>The record as it will be once these are stored: new ones as version 1, changed ones in place of the old.</summary>
    public ProgrammeRecord With(IEnumerable<Resource> newOnes)
    {
        var all = Resources.ToDictionary(r => (r.TypeName, r.Id));
        var results = Results.ToDictionary(r => r.Id);
        foreach (var resource in newOnes)
        {
            if (resource is Observation observation)
                results[observation.Identity()] = RecordedResult.Of(observation);
            else
                all[(resource.TypeName, resource.Id)] = resource;
        }

        return ProgrammeMapping.Map(Programme.Id, all.Values, results.Values) with { ReadAt = ReadAt };
    }

    /// <summary>
    /// The version from which something computed from this record is the next. One written after the reading began may know more
    /// than this record does, so the one before it is named: the commit refuses it as stale, and all is read again.
    /// </summary>
    internal int NextAfter(RecordVersion current) => current.Sequence > ReadAt ? current.Version - 1 : current.Version;
}
