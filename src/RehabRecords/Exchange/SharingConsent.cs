using Hl7.Fhir.Model;
using RehabRecords.Progress;

namespace RehabRecords.Exchange;

/// <summary>Whether what a person agreed to lets their record go to an organisation today.</summary>
/// <param name="Permit">The consent under which it may go; null when it may not.</param>
/// <param name="Reason">Why it may not; null when it may.</param>
internal sealed record SharingConsent(Consent? Permit, string? Reason)
{
    /// <param name="consents">All consents of the person that were recorded here.</param>
    /// <param name="types">The types of resource that would go.</param>
    /// <param name="zone">Days of a consent are days of this zone.</param>
    public static SharingConsent Of(IReadOnlyList<Consent> consents, Organization recipient, IReadOnlyCollection<string> types, DateTimeOffset now, string zone)
    {
        var name = recipient.Name ?? $"Organization/{recipient.Id}";
        var about = (from consent in consents
                     where consent.Provision is { } p && (IsAbout(p, recipient.Id!) || p.Provision.Exists(n => IsAbout(n, recipient.Id!)))
                     select (Consent: consent, Provision: consent.Provision!)).ToList();
        var today = Clinical.Schedule.DayOf(now, zone);
        var inForce = about.Where(c => c.Consent.Status == Consent.ConsentState.Active && Within(c.Provision.Period, today, now) == Time.Within).ToList();
        // A refusal counts for more than an agreement: whoever is in doubt does not share.
        foreach (var (consent, provision) in inForce)
            if (types.FirstOrDefault(t => Says(provision, recipient.Id!, t, today, now) == false) is { } refused)
                return new(null, $"The person refused to share {(provision.Type == Consent.ConsentProvisionType.Deny ? "their record" : refused + " resources")} with {name} (Consent/{consent.Id}). Ask again, and record a new consent if the person agrees.");
        foreach (var (consent, provision) in inForce)
        {
            var uncovered = types.Where(t => Says(provision, recipient.Id!, t, today, now) != true).Order(StringComparer.Ordinal).ToList();
            if (uncovered.Count == 0)
                return new(consent, null);
            if (uncovered.Count < types.Count)
                return new(null, $"The consent to share with {name} (Consent/{consent.Id}) does not cover {string.Join(", ", uncovered)}. Record a consent that covers the programme.");
        }

        var latest = about.Select(c => c.Consent).OrderBy(c => c.DateTime, StringComparer.Ordinal).ThenBy(c => c.Id, StringComparer.Ordinal).LastOrDefault();
        return new(null, latest switch
        {
            null => $"No consent to share with {name} is recorded for the person. Record it first: POST /api/people/{{id}}/consents.",
            { Status: Consent.ConsentState.Inactive } => $"The person withdrew the consent to share with {name} (Consent/{latest.Id}). Record a new one if the person agrees again.",
            { Status: not Consent.ConsentState.Active } => $"The consent to share with {name} (Consent/{latest.Id}) is {latest.StatusElement?.JsonValue}, not active. Record one that is.",
            _ when Within(latest.Provision?.Period, today, now) == Time.Before => $"The consent to share with {name} (Consent/{latest.Id}) begins on {latest.Provision?.Period?.Start}. Wait until then, or record one that begins earlier.",
            _ when Within(latest.Provision?.Period, today, now) == Time.After => $"The consent to share with {name} (Consent/{latest.Id}) expired on {latest.Provision?.Period?.End}. Record a new one if the person agrees.",
            _ => $"The consent that names {name} (Consent/{latest.Id}) does not permit disclosing. Record one that does.",
        });
    }

    private enum Time
    {
        Within,
        Before,
        After,
    }

    /// <summary>True to permit, false to refuse, null when the provision says nothing of it. A provision within another is an exception to it.</summary>
    private static bool? Says(Consent.provisionComponent provision, string organisation, string type, DateOnly today, DateTimeOffset now)
    {
        bool? said = null;
        if (IsAbout(provision, organisation) && provision.Type is { } kind && Within(provision.Period, today, now) == Time.Within
            && Discloses(provision) && (provision.Class.Count == 0 || provision.Class.Exists(c => c.Code == type)))
            said = kind == Consent.ConsentProvisionType.Permit;
        foreach (var exception in provision.Provision)
            said = Says(exception, organisation, type, today, now) ?? said;
        return said;
    }

    private static bool IsAbout(Consent.provisionComponent provision, string organisation) =>
        provision.Actor.Count == 0 || provision.Actor.Exists(a => a.Reference.IdOf("Organization") == organisation);

    private static bool Discloses(Consent.provisionComponent provision) =>
        provision.Action.Count == 0 || provision.Action.Exists(a => a.Coding.Exists(c => c.Code == "disclose"));

    private static Time Within(Period? period, DateOnly today, DateTimeOffset now) =>
        period?.Start is { } start && Compare(today, now, start) < 0 ? Time.Before
        : period?.End is { } end && Compare(today, now, end) > 0 ? Time.After : Time.Within;

    /// <summary>As exactly as the date is written: a day is over when it has ended.</summary>
    private static int Compare(DateOnly today, DateTimeOffset now, string date) => Addresses.Instant(date) is { } at
        ? now.CompareTo(at)
        : string.CompareOrdinal($"{today:yyyy-MM-dd}"[..Math.Min(10, date.Length)], date);
}
