using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Notes;
using RehabRecords.Pages.Desk;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Pages.Conflicts;

/// <summary>A programme as one side has it, in the words of the desk.</summary>
internal sealed class ProgrammeSide
{
    private readonly List<(string Thing, string Label, string? Value)> _fields = [];

    private ProgrammeSide(ProgrammeAnswer programme, IReadOnlyDictionary<string, ServiceRequest> requests)
    {
        Say("The programme itself",
            ("Title", programme.Title), ("State", programme.Status is { } status ? DeskWords.StatusOf(status) : null), ("First day", Day(programme.Start)), ("Last day", Day(programme.End)),
            ("Level", programme.Level?.ToString(CultureInfo.InvariantCulture)), ("Why this level", programme.LevelReason),
            ("Pain limit", programme.PainLimit is { } limit ? $"{limit} of 10" : null), ("Times are of", programme.TimeZone),
            ("Pauses", programme.Pauses.Count == 0 ? null : string.Join("; ", programme.Pauses.Select(p => $"{Wording.Date(p.From)} to {(p.To is { } to ? Wording.Date(to) : "no last day set")}: {p.Reason}"))));
        Say("The programme itself", [.. (programme.Reporting ?? new ReportingRequest()).Items.Select(i => (DeskWords.LabelOf(i.Code), (string?)i.Text))]);
        foreach (var exercises in programme.Exercises.GroupBy(e => $"{e.Title ?? "An exercise"}, {e.Side switch { "left" => "left side", "right" => "right side", _ => "both sides" }}"))
            foreach (var (place, exercise) in exercises.Index())
                Say(place == 0 ? exercises.Key : $"{exercises.Key} ({place + 1})",
                    ("Amount", exercise.Dosage is { } dosage ? PlainWords.Dosage(dosage) : null), ("How often", exercise.Schedule is { } schedule ? Timings.Often(Timings.Whole(schedule)) : null),
                    ("First day", Day(exercise.From)), ("Last day", Day(exercise.Until)),
                    ("Position", exercise.Position is { } position ? CodeLists.Position.Words(position) : null), ("Order of the hands", exercise.HandOrder is { } order ? CodeLists.HandOrder.Words(order) : null),
                    ("Help", exercise.HelpLevel is { } help ? CodeLists.HelpLevel.Words(help) : null), ("Own words for the person", exercise.Instruction),
                    ("Version in the library", exercise.Exercise?.Split('|') is [_, var version] ? version : null), ("Prescribed by", By(requests.GetValueOrDefault(exercise.Id))));
        foreach (var goal in programme.Goals)
            Say($"Goal: {goal.Description}", [("By", Day(goal.Due)), .. goal.Levels.Select(l => ($"Level {DeskWords.LevelName(l.Key)}", (string?)l.Value))]);
    }

    /// <param name="requests">Those of the programme alone, in its order.</param>
    public static ProgrammeSide Of(CarePlan plan, IEnumerable<ServiceRequest> requests, IEnumerable<Goal> goals)
    {
        // What a revision took back before its day has never been prescribed.
        ServiceRequest[] prescribed = [.. ProgrammeEndpoints.InOrderOfPlan(plan, requests.Where(r => r.Status != RequestStatus.EnteredInError))];
        return new ProgrammeSide(ProgrammeAnswer.Of(plan, prescribed, goals), prescribed.ToDictionary(r => r.Id!, StringComparer.Ordinal));
    }

    /// <summary>What is not the same on both sides, thing by thing; where a thing is on one side alone, all it says.</summary>
    public static IEnumerable<DifferingThing> Differences(ProgrammeSide ours, ProgrammeSide theirs, ProgrammeSide? origin)
    {
        foreach (var thing in ours._fields.Concat(theirs._fields).Select(f => f.Thing).Distinct())
        {
            var fields = ours._fields.Concat(theirs._fields).Where(f => f.Thing == thing).Select(f => f.Label).Distinct()
                .Select(label => new DifferingField(label, ours[thing, label], theirs[thing, label], origin?[thing, label])).Where(f => f.Ours != f.Theirs).ToList();
            if (fields.Count > 0)
                yield return new DifferingThing(Wording.Capital(thing), origin is not null, fields);
        }
    }

    private string? this[string thing, string label] => _fields.FirstOrDefault(f => f.Thing == thing && f.Label == label).Value;

    private void Say(string thing, params IReadOnlyList<(string Label, string? Value)> fields) => _fields.AddRange(fields.Where(f => !string.IsNullOrWhiteSpace(f.Value)).Select(f => (thing, f.Label, f.Value)));

    private static string? By(ServiceRequest? request) => request is null ? null
        : string.Join(", ", new[] { request.Requester?.Display, Day(request.AuthoredOn) }.OfType<string>()) is { Length: > 0 } by ? by : null;

    private static string? Day(string? iso) => Addresses.Day(iso) is { } day ? Wording.Date(day) : iso;
}
