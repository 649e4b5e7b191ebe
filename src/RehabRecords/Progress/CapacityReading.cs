using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using MeasureStatus = RehabRecords.Clinical.MeasureStatus;

namespace RehabRecords.Progress;

/// <summary>The person's upper-limb capacity as the record shows it.</summary>
/// <param name="Side">The arm it is about; null when the record does not tell.</param>
/// <param name="Result">The result it was read from; null when there is none.</param>
/// <param name="Finding">The band; null when none can be read.</param>
/// <param name="Text">The band and what it was read from, or why there is none, in words.</param>
public sealed record CapacityReading(Side? Side, MeasureResult? Result, CapacityFinding? Finding, string Text);

internal static class Capacity
{
    private static readonly string[] Read = ["arat", "fugl-meyer-upper-extremity"];

    /// <summary>
    /// From the latest completed result of either measure for the arm. Of two taken at the same time the Action Research
    /// Arm Test is used: it defines the bands, the other predicts them.
    /// </summary>
    /// <param name="side">The arm; the affected one when left out.</param>
    public static async Task<CapacityReading> CapacityAsync(this RecordStore store, Patient person, Side? side, CancellationToken ct)
    {
        var affected = person.GetExtension(Extensions.RehabilitationContext)?.GetExtensionValue<Code>("affectedSide")?.Value;
        if ((side ?? Codes.TryParse<Side>(affected)) is not ({ } arm and (Side.Left or Side.Right)))
            return new(null, null, null, "No one affected side is recorded, so no band can be read");
        var found = await store.FindAllAsync<Observation>($"subject=Patient/{person.Id}", ct);
        var results = found.Where(o => o.Status != ObservationStatus.EnteredInError && Read.Contains(o.Code.CodeIn(Systems.Measure)))
            .Select(MeasureMapping.Result).OfType<MeasureResult>().Where(r => r.Side == arm)
            .OrderBy(r => r.MeasuredAt).ThenByDescending(r => Array.IndexOf(Read, r.Measure)).ThenBy(r => r.Evidence, StringComparer.Ordinal).ToList();
        if (results.LastOrDefault(r => r.Status == MeasureStatus.Completed) is not { } latest)
            return new(arm, null, null, $"No completed result of the Action Research Arm Test or the Fugl-Meyer upper extremity score is recorded for the {arm.Code()} arm");
        try
        {
            var finding = StartingLevel.BandOf(latest);
            // One that could not be completed since then is for the therapist to weigh.
            var later = results[^1] == latest ? "" : $". A later result without a score ({results[^1].Status.Code()}, {results[^1].MeasuredAt:d MMMM yyyy}) was not used";
            var prediction = finding.Predicted ? "; a prediction, since the Action Research Arm Test defines the bands" : "";
            return new(arm, latest, finding, $"{finding.Text} for the {arm.Code()} arm on {latest.MeasuredAt:d MMMM yyyy}{prediction}{later}");
        }
        catch (UnfitInputException e)
        {
            return new(arm, latest, null, $"The latest result cannot be read as a band: {e.Problem.Message.TrimEnd('.')}");
        }
    }
}
