using System.Text.Json;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Pages.Caseload;

/// <summary>One person of the caseload as of today.</summary>
/// <param name="Programme">Title of the programme in force; null when there is none.</param>
/// <param name="Attention">Reasons to look, the most pressing first.</param>
public sealed record CaseloadLine(
    string Id, string Name, string SortName, string? BirthDate, string? Identifier, string? Programme, string? ProgrammeStatus, DateOnly? LastReport, IReadOnlyList<Attention> Attention);

/// <summary>
/// Who is on the caseload and why they need attention. It follows the record by the order of commits, so that opening the
/// page reads what changed since the last time and not the record of every person; several instances each follow for themselves.
/// </summary>
internal sealed class FollowedCaseload(RecordStore store, Settings settings, TimeProvider clock) : IDisposable
{
    private const int Chunk = 2000;

    private static readonly string[] Types = ["Patient", "CarePlan", "Procedure", "Flag", "Composition", "Goal", "Task"];

    private readonly SemaphoreSlim _gate = new(1, 1);
    private readonly Dictionary<string, PersonState> _people = new(StringComparer.Ordinal);

    /// <summary>Whom a resource was about when it was last seen: a deletion does not say.</summary>
    private readonly Dictionary<string, string> _personOf = new(StringComparer.Ordinal);

    private long _read;
    private int _erasures;

    public static DateOnly Today(Settings settings, TimeProvider clock) => DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(clock.GetUtcNow(), TimeZoneInfo.FindSystemTimeZoneById(settings.TimeZone)).DateTime);

    public async Task<IReadOnlyList<CaseloadLine>> ReadAsync(CancellationToken ct)
    {
        await _gate.WaitAsync(ct);
        try
        {
            await ForgetErasedAsync(ct);
            await FollowAsync(ct);
            var today = Today(settings, clock);
            return [.. _people.Values.Where(p => p.Name is not null).Select(p => Line(p, today))];
        }
        finally
        {
            _gate.Release();
        }
    }

    public void Dispose() => _gate.Dispose();

    /// <summary>An erasure leaves nothing in the order of commits that could be followed; so all is read again, also where another instance erased.</summary>
    private async Task ForgetErasedAsync(CancellationToken ct)
    {
        var erasures = (await store.TombstonesAsync(ct)).Count;
        if (erasures == _erasures)
            return;
        _people.Clear();
        _personOf.Clear();
        (_read, _erasures) = (0, erasures);
    }

    private async Task FollowAsync(CancellationToken ct)
    {
        while (true)
        {
            var changes = await store.ChangesAfterAsync(_read, Types, Chunk, ct);
            foreach (var change in changes)
            {
                Apply(change);
                _read = change.Sequence;
            }
            if (changes.Count < Chunk)
                return;
        }
    }

    private void Apply(RecordVersion change)
    {
        // A correction may move a resource to another person, so the old one always forgets it first.
        if (_personOf.Remove(change.Address, out var before) && _people.TryGetValue(before, out var former))
            former.Forget(change.Type, change.Id);
        if (change.Deleted)
            return;
        using var json = JsonDocument.Parse(change.Json);
        if ((change.Type == "Patient" ? change.Id : json.RootElement.Person()) is not { } person)
            return;
        if (!_people.TryGetValue(person, out var state))
            _people[person] = state = new PersonState(person);
        state.Take(change.Type, change.Id, json.RootElement);
        _personOf[change.Address] = person;
    }

    private CaseloadLine Line(PersonState person, DateOnly today)
    {
        var inForce = person.Programmes.Values.Where(p => p.Status is "active" or "on-hold").OrderByDescending(p => p.Start).Select(p => ((string, string, DateOnly?, DateOnly?)?)p).FirstOrDefault();
        return new(
            person.Id, person.Name!, person.SortName ?? person.Name!, person.BirthDate, person.Identifier, inForce?.Item1, inForce?.Item2, person.LastReport,
            [.. Reasons(person, today).OrderBy(a => a.Kind).ThenBy(a => a.Since).ThenBy(a => a.Text, StringComparer.Ordinal)]);
    }

    private IEnumerable<Attention> Reasons(PersonState person, DateOnly today)
    {
        var page = $"/people/{person.Id}";
        var soon = today.AddDays(settings.Caseload.AheadDays);
        foreach (var flag in person.RedFlags.Values)
            yield return new(AttentionKind.RedFlag, $"{flag.Words}, since {Wording(flag.Since)}", flag.Since, page + "#flags");
        foreach (var (id, task) in person.Tasks)
            yield return task.Kind switch
            {
                AttentionKind.Conflict => new(task.Kind, $"a choice waits, since {Wording(task.Since)}", task.Since, $"/conflicts/{id}"),
                AttentionKind.Briefing => new(task.Kind, $"{task.Words}, since {Wording(task.Since)}", task.Since, page + "#programmes"),
                _ => new(task.Kind, $"{task.Words}, since {Wording(task.Since)}", task.Since, page + "#tasks"),
            };
        foreach (var (id, draft) in person.Drafts)
            yield return new(AttentionKind.Draft, $"{draft.Title}, {Wording(draft.Since)}", draft.Since, $"/notes/{id}");
        foreach (var programme in person.Programmes.Values.Where(p => p.Status == "active"))
        {
            var last = person.LastReport ?? programme.Start;
            if (last is { } day && day < today && today.DayNumber - day.DayNumber >= settings.Caseload.QuietDays)
                yield return new(AttentionKind.Quiet, person.LastReport is null ? $"no report since the programme began on {Wording(day)}" : $"no report for {today.DayNumber - day.DayNumber} days", day, page + "#calendar");
            if (programme.End is { } end && end <= soon)
                yield return new(AttentionKind.Ending, end < today ? $"the programme ended on {Wording(end)}" : $"the programme ends on {Wording(end)}", end, page + "#programmes");
        }
        foreach (var goal in person.Goals.Values.Where(g => g.Due <= soon))
            yield return new(AttentionKind.Goal, $"{goal.Description}: {(goal.Due < today ? "was due" : "due")} {Wording(goal.Due)}", goal.Due, page + "#goals");
    }

    private static string Wording(DateOnly day) => day == DateOnly.MinValue ? "an unknown day" : Notes.Wording.Date(day);
}
