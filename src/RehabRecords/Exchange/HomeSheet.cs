using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Exchange;

/// <summary>What the person has at home, as lines of text: what to do, when, how, and when to stop.</summary>
internal static class HomeSheet
{
    public static IEnumerable<string?> Lines(CarePlan programme, IReadOnlyList<ServiceRequest> prescriptions)
    {
        yield return PlainWords.Sentence(programme.Title ?? "Home programme");
        if (programme.Status is RequestStatus.OnHold)
            yield return "On hold: do not begin, or carry on, before your therapist says so.";
        var limit = programme.GetExtensionValue<Integer>(Extensions.PainLimit)?.Value;
        yield return limit is null ? null : $"Stop when pain goes above {limit} of 10, and tell your therapist.";
        foreach (var pause in PauseMapping.Of(programme))
            yield return PlainWords.Sentence($"Nothing is due from {Day(pause.Days.From)}{(pause.Days.To is { } to ? $" to {Day(to)}" : " until your therapist says so")}");
        foreach (var prescription in prescriptions)
            foreach (var line in (prescription.PatientInstruction ?? prescription.Code?.Text ?? "").Split('\n'))
                yield return line;
        if (prescriptions.Count == 0)
            yield return "No exercise is prescribed at present.";
        yield return Clinical.Cautions.Closing;
    }

    private static string Day(DateOnly day) => day.ToString("d MMMM yyyy", CultureInfo.InvariantCulture);
}
