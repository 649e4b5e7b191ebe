using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Terms;

namespace RehabRecords.Progress;

/// <summary>
/// What the calculations take from one version of an Observation, whatever it is of: a result of a session, of a measure, or a level of a
/// goal. It depends on nothing else in the record.
/// </summary>
/// <param name="Withdrawn">Entered in error; counts for nothing.</param>
internal sealed record RecordedResult(string Id, string Evidence, bool Withdrawn)
{
    /// <summary>Id of the Procedure it is part of.</summary>
    public string? Session { get; init; }

    /// <summary>Of one exercise; what it calls planned is the version of the prescription that was reported on.</summary>
    public ExerciseReport? Exercise { get; init; }

    /// <summary>The reporter's words.</summary>
    public IReadOnlyList<string> Words { get; init; } = [];

    /// <summary>Of a measure, other than of the attainment of a goal.</summary>
    public MeasureResult? Measure { get; init; }

    /// <summary>Ids of the results it is the total of.</summary>
    public IReadOnlyList<string> TotalOf { get; init; } = [];

    public AttainedLevel? Level { get; init; }

    /// <summary>Ids of the goals that it is about.</summary>
    public IReadOnlyList<string> Goals { get; init; } = [];

    /// <summary>When a measure's result reached the record; null for results of a session, which come with it.</summary>
    public DateTimeOffset? Arrived { get; init; }

    public static RecordedResult Of(Observation observation)
    {
        var measure = observation.Code.CodeIn(Systems.Measure);
        var isLevel = measure == MeasureCode.GasLevel;
        return new RecordedResult(observation.Id ?? "", observation.Evidence(), observation.Status == ObservationStatus.EnteredInError)
        {
            Session = observation.PartOf.Select(p => p.IdOf("Procedure")).FirstOrDefault(id => id is not null),
            Exercise = SessionMapping.Exercise(observation),
            Words = [.. observation.Note.Select(n => n.Text?.Trim()).OfType<string>().Where(text => text.Length > 0)],
            Measure = isLevel ? null : MeasureMapping.Result(observation),
            TotalOf = [.. observation.DerivedFrom.Select(d => d.IdOf("Observation")).OfType<string>()],
            Level = isLevel ? MeasureMapping.Level(observation) : null,
            Goals = [.. observation.Focus.Select(f => f.IdOf("Goal")).OfType<string>()],
            Arrived = measure is null ? null : observation.Issued ?? observation.Meta?.LastUpdated,
        };
    }
}
