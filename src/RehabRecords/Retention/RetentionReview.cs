using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.People;
using RehabRecords.Trade;

namespace RehabRecords.Retention;

/// <summary>One record as of today, for whoever decides whether it is kept.</summary>
/// <param name="LastContact">Day of the last session, measure, note, message or episode; when there is none, the day on which the person was recorded.</param>
/// <param name="DueOn">The first day on which it may be looked at for erasure; null while care goes on.</param>
/// <param name="Why">From what that day follows.</param>
/// <param name="State">due, held (due, but under legal hold), not-due or care-going-on.</param>
/// <param name="Holds">Those in force.</param>
/// <param name="Remarks">What to look at by hand.</param>
public sealed record RetentionLine(
    string Id, string Name, string? BirthDate, DateOnly LastContact, DateOnly? DueOn, string Why, string State, IReadOnlyList<LegalHoldView> Holds, IReadOnlyList<string> Remarks);

/// <param name="Jurisdiction">Whose rule it is; null when none was chosen, and then nothing is due.</param>
/// <param name="SourceKnown">How well the source is known: read, summary, from memory, or set by the operator.</param>
/// <param name="Records">How many records there are in all.</param>
public sealed record RetentionList(
    DateOnly Today, string? Jurisdiction, string Rule, string? Source, string? SourceKnown, string? Remark, int Records, IReadOnlyList<RetentionLine> People);

/// <summary>Who is due for a look, why, and who is under legal hold. It lists, and changes nothing: a person decides.</summary>
internal sealed class RetentionReview(Settings settings, TimeProvider clock)
{
    public const string Due = "due";
    public const string Held = "held";
    public const string NotDue = "not-due";
    public const string GoingOn = "care-going-on";

    private const string NoRule = "No rule was chosen, so nothing is due: set Retention:Jurisdiction (docs/settings.md).";

    /// <summary>By which dates of a record a contact is known.</summary>
    private static readonly (string Type, string Code)[] Contacts =
        [("Procedure", "date"), ("Observation", "date"), ("Composition", "date"), ("Communication", "sent"), ("EpisodeOfCare", "date"), ("AdverseEvent", "date"), ("CarePlan", "date")];

    public DateOnly Today => DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(clock.GetUtcNow(), Zone).DateTime);

    private TimeZoneInfo Zone => TimeZoneInfo.FindSystemTimeZoneById(settings.TimeZone);

    /// <summary>Those who are due or held first by how long they have been; with <paramref name="all"/> everybody.</summary>
    public async Task<RetentionList> ReadAsync(RecordStore store, bool all, CancellationToken ct)
    {
        var rule = settings.Retention.Rule();
        var people = await store.FindAllAsync<Patient>("", ct);
        var contacts = await store.LatestDatesAsync(Contacts, clock.GetUtcNow(), ct);
        var cared = await GoingOnAsync(store, ct);
        var holds = (await store.FindAllAsync<Flag>("", ct)).Where(f => f.Status == Flag.FlagStatus.Active && LegalHold.Is(f)).ToLookup(f => Rules.Bare(f.Subject?.Reference ?? "", "Patient"), StringComparer.Ordinal);
        var lines = new List<RetentionLine>();
        foreach (var person in people)
        {
            var line = Line(person, await LastContactAsync(store, person, contacts, ct), rule, cared.Contains(person.Id!), [.. holds[person.Id!].Select(LegalHold.View)]);
            if (all || line.State is Due or Held || line.Holds.Count > 0)
                lines.Add(line);
        }

        return new RetentionList(
            Today, rule?.Name, rule?.Words ?? NoRule, rule?.Source, rule?.Read, rule?.Remark, people.Count,
            [.. lines.OrderBy(l => l.State is Due ? 0 : l.State is Held ? 1 : 2).ThenBy(l => l.DueOn ?? DateOnly.MaxValue).ThenBy(l => l.Id, StringComparer.Ordinal)]);
    }

    /// <summary>One person's line.</summary>
    public async Task<RetentionLine> OfAsync(RecordStore store, Patient person, CancellationToken ct)
    {
        var contacts = await store.LatestDatesAsync(Contacts, clock.GetUtcNow(), ct);
        var holds = await LegalHold.InForceAsync(store, person.Id!, ct);
        return Line(
            person, await LastContactAsync(store, person, contacts, ct), settings.Retention.Rule(), (await GoingOnAsync(store, ct)).Contains(person.Id!), [.. holds.Select(LegalHold.View)]);
    }

    private RetentionLine Line(Patient person, DateOnly contact, RetentionRule? rule, bool goesOn, IReadOnlyList<LegalHoldView> holds)
    {
        var (birth, death) = (Day(person.BirthDate), Day((person.Deceased as FhirDateTime)?.Value));
        var due = goesOn || rule is null ? null : rule.Of(contact, birth, death);
        var isDue = due is not null && due.On <= Today;
        List<string> remarks = [];
        if (birth is null)
            remarks.Add("The birth date is not known to the day, so whether a rule for children holds is not known.");
        if (Replaced.By(person) is { } survivor)
            remarks.Add($"This record was merged into Patient/{survivor}; it is erased together with that one.");
        if (person.Deceased is FhirBoolean { Value: true })
            remarks.Add("The person has died on a day that is not recorded.");
        var name = person.Name.FirstOrDefault();
        return new RetentionLine(
            person.Id!, name?.Text ?? string.Join(' ', PersonMapping.GivenNames(name).Append(name?.Family)).Trim(), person.BirthDate, contact, due?.On,
            goesOn ? "a programme or an episode is still open" : due?.Why ?? NoRule, goesOn ? GoingOn : !isDue ? NotDue : holds.Count > 0 ? Held : Due, holds, remarks);
    }

    private async Task<DateOnly> LastContactAsync(RecordStore store, Patient person, Dictionary<string, DateTimeOffset> contacts, CancellationToken ct)
    {
        if (!contacts.TryGetValue(person.Id!, out var at))
            at = (await store.ReadVersionAsync("Patient", person.Id!, 1, ct))?.LastUpdated ?? person.Meta!.LastUpdated!.Value;
        return DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(at, Zone).DateTime);
    }

    private static async Task<HashSet<string>> GoingOnAsync(RecordStore store, CancellationToken ct) =>
    [
        .. (await store.FindAllAsync<CarePlan>("status=active,on-hold", ct)).Select(p => Rules.Bare(p.Subject?.Reference ?? "", "Patient")),
        .. (await store.FindAllAsync<EpisodeOfCare>("status=planned,waitlist,active,onhold", ct)).Select(e => Rules.Bare(e.Patient?.Reference ?? "", "Patient")),
    ];

    private static DateOnly? Day(string? date) =>
        date is { Length: >= 10 } && DateOnly.TryParseExact(date[..10], "yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture, System.Globalization.DateTimeStyles.None, out var day) ? day : null;
}
