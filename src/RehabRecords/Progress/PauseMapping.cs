using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Terms;

namespace RehabRecords.Progress;

/// <summary>The extension pause of a CarePlan.</summary>
internal static class PauseMapping
{
    /// <summary>By their first day.</summary>
    public static IReadOnlyList<ProgrammePause> Of(CarePlan plan) =>
        [.. plan.GetExtensions(Extensions.Pause).Select(Read).OfType<ProgrammePause>().OrderBy(p => p.Days.From)];

    public static ProgrammePause? Read(Extension pause) =>
        Addresses.Day(pause.GetExtensionValue<Date>(Extensions.PausePart.From)?.Value) is not { } from ? null : new ProgrammePause(
            new Pause(from, Addresses.Day(pause.GetExtensionValue<Date>(Extensions.PausePart.To)?.Value), Text(pause, Extensions.PausePart.Reason)),
            Text(pause, Extensions.PausePart.By) ?? "a clinician whose name is not recorded")
        {
            At = pause.GetExtensionValue<Instant>(Extensions.PausePart.At)?.Value,
            EndedBy = Text(pause, Extensions.PausePart.EndedBy),
            EndedAt = pause.GetExtensionValue<Instant>(Extensions.PausePart.EndedAt)?.Value,
        };

    private static string? Text(Extension pause, string part) => pause.GetExtensionValue<FhirString>(part)?.Value;
}
