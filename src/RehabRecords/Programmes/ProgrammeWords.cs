using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>The narrative of a programme: a receiver who knows none of our extensions reads here all that they say.</summary>
internal static class ProgrammeWords
{
    public static Narrative Of(CarePlan programme, IReadOnlyList<ServiceRequest> requests, IEnumerable<Goal> goals)
    {
        var level = programme.GetExtensionValue<PositiveInt>(Extensions.Level)?.Value;
        var reason = programme.GetExtensionValue<FhirString>(Extensions.LevelReason)?.Value;
        var (start, end) = (Day(programme.Period?.Start), Day(programme.Period?.End));
        var replaced = requests.SelectMany(r => r.Replaces).Select(r => r.Reference).ToHashSet();
        return Readable.Of([
            PlainWords.Sentence(programme.Title ?? "Home programme"),
            programme.Status == RequestStatus.Draft ? "A draft: not handed over to the person yet." : null,
            programme.Status == RequestStatus.OnHold ? "On hold until the carer has been briefed and has acknowledged it." : null,
            end is null ? $"From {start}." : $"From {start} to {end}.",
            PlainWords.Sentence(level is { } number ? $"Level {number}, because: {reason}" : $"Chosen because: {reason}"),
            programme.GetExtension(Extensions.LevelProposal)?.GetExtensionValue<FhirString>("text")?.Value is { } proposal ? PlainWords.Sentence(proposal)
                : programme.InstantiatesCanonical.Any() ? "No level was proposed from a measure." : null,
            $"Pain limit: {programme.GetExtensionValue<Integer>(Extensions.PainLimit)?.Value} of 10. Stop and report pain above it.",
            $"Days and times are those of {programme.GetExtensionValue<Code>(Extensions.TimeZone)?.Value}.",
            programme.Author is { } author ? PlainWords.Sentence($"Prescribed by {author.Display ?? author.Reference}") : null,
            .. ReportingRequest.Words(programme),
            .. PauseMapping.Of(programme).Select(p => PlainWords.Sentence(
                $"Paused {(p.Days.To is { } to ? $"from {Day(p.Days.From)} to {Day(to)}" : $"from {Day(p.Days.From)}, until it is ended")} by {p.By}, because: {p.Days.Reason}")),
            .. requests.Where(r => r.Status is RequestStatus.Active or RequestStatus.Draft or RequestStatus.Completed).Select(r => r.PatientInstruction!.ReplaceLineEndings(" ")),
            .. requests.Where(r => r.Status == RequestStatus.Revoked && !replaced.Contains($"ServiceRequest/{r.Id}")).Select(r => $"No longer prescribed after {Day(Timings.Bounds(r)?.End)}: {PlainWords.Sentence(r.Code?.Text ?? "an exercise")}"),
            .. goals.Select(g => PlainWords.Sentence($"Goal: {g.Description.Text}"))]);
    }

    private static string? Day(string? iso) => Addresses.Day(iso) is { } day ? Day(day) : null;

    private static string Day(DateOnly day) => day.ToString("d MMMM yyyy", CultureInfo.InvariantCulture);
}
