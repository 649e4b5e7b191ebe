namespace RehabRecords.Clinical;

/// <summary>Upper-limb capacity bands.</summary>
public enum CapacityBand
{
#pragma warning disable CS1591 // the published names
    NoCapacity, Poor, Limited, Notable, Full,
#pragma warning restore CS1591
}

/// <summary>A capacity band and what it was read from.</summary>
/// <param name="Band">The band.</param>
/// <param name="Predicted">True when read from the Fugl-Meyer score, which predicts the band; false for the Action Research Arm Test, which defines it.</param>
/// <param name="Text">In plain words.</param>
/// <param name="Source">Source.</param>
/// <param name="Evidence">Address of the result.</param>
public sealed record CapacityFinding(CapacityBand Band, bool Predicted, string Text, Source Source, IReadOnlyList<string> Evidence);

/// <summary>The level a programme starts at: a band proposes, the therapist disposes.</summary>
public static class StartingLevel
{
    /// <summary>The capacity band of a completed result of <c>arat</c> or <c>fugl-meyer-upper-extremity</c>.</summary>
    /// <exception cref="UnfitInputException">Another measure, no value, or out of range.</exception>
    public static CapacityFinding BandOf(MeasureResult result) => throw new NotImplementedException();
}
