using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Trade;

namespace RehabRecords.Exchange;

public sealed record ConsentAnswer
{
    public required string Id { get; init; }

    public string? Person { get; init; }

    public string? Status { get; init; }

    public string? Decision { get; init; }

    /// <summary>Id of the Organization.</summary>
    public string? Recipient { get; init; }

    public string? RecipientName { get; init; }

    public string? From { get; init; }

    public string? To { get; init; }

    public string? Text { get; init; }
}

/// <summary>Between a decision about sharing and Consent.</summary>
internal static class ConsentMapping
{
    private const string ActCode = "http://terminology.hl7.org/CodeSystem/v3-ActCode";

    public static Consent ToConsent(this ConsentRequest request, string person, Organization recipient, ResourceReference by, DateOnly today, DateTimeOffset now)
    {
        var permits = request.Decision == ConsentRequest.Permit;
        var performer = request.Carer is { } carer ? $"RelatedPerson/{Rules.Bare(carer, "RelatedPerson")}" : $"Patient/{person}";
        var from = request.From ?? today;
        var consent = new Consent
        {
            Status = Consent.ConsentState.Active,
            Scope = new CodeableConcept("http://terminology.hl7.org/CodeSystem/consentscope", "patient-privacy"),
            Category = [new CodeableConcept(ActCode, "IDSCL", "information disclosure")],
            Patient = new ResourceReference($"Patient/{person}"),
            DateTimeElement = new FhirDateTime(now),
            Performer = [new ResourceReference(performer)],
            PolicyRule = new CodeableConcept(ActCode, permits ? "OPTIN" : "OPTOUT", permits ? "opt-in" : "opt-out"),
            Provision = new Consent.provisionComponent
            {
                Type = permits ? Consent.ConsentProvisionType.Permit : Consent.ConsentProvisionType.Deny,
                Period = new Period { Start = Iso(from), End = request.To is { } to ? Iso(to) : null },
                Actor =
                [
                    new Consent.provisionActorComponent
                    {
                        Role = new CodeableConcept("http://terminology.hl7.org/CodeSystem/v3-ParticipationType", "IRCP"),
                        Reference = new ResourceReference($"Organization/{recipient.Id}", recipient.Name),
                    },
                ],
                Action = [new CodeableConcept("http://terminology.hl7.org/CodeSystem/consentaction", "disclose")],
                Purpose = [new Coding("http://terminology.hl7.org/CodeSystem/v3-ActReason", "TREAT")],
            },
        };
        consent.Text = Readable.Of(
            PlainWords.Sentence($"The {(request.Carer is null ? "person" : "carer, for the person,")} {(permits ? "agrees" : "does not agree")} to sharing the home programme and what belongs to it with {recipient.Name}"),
            request.To is { } last ? $"From {Words(from)} to {Words(last)}." : $"From {Words(from)}, until it is withdrawn.",
            PlainWords.Sentence($"Taken down by {by.Display}"),
            request.Note is { } note ? PlainWords.Sentence(note) : null);
        return consent;
    }

    /// <summary>Nothing of what was agreed is taken away: it ends, and the text says how.</summary>
    public static void End(this Consent consent, string words, DateOnly today)
    {
        consent.Status = Consent.ConsentState.Inactive;
        consent.Provision ??= new Consent.provisionComponent();
        consent.Provision.Period ??= new Period();
        // One that would have begun later never held.
        if (consent.Provision.Period.Start is not { } start || string.CompareOrdinal(start, Iso(today)) <= 0)
            consent.Provision.Period.End = Iso(today);
        consent.Text = Readable.Of([.. Narratives.Lines(consent), words]);
    }

    public static ConsentAnswer ToAnswer(this Consent consent) => new()
    {
        Id = consent.Id!,
        Person = consent.Patient?.Reference,
        Status = consent.StatusElement?.JsonValue as string,
        Decision = consent.Provision?.Type == Consent.ConsentProvisionType.Deny ? ConsentRequest.Deny : ConsentRequest.Permit,
        Recipient = consent.Provision?.Actor.FirstOrDefault()?.Reference?.Reference,
        RecipientName = consent.Provision?.Actor.FirstOrDefault()?.Reference?.Display,
        From = consent.Provision?.Period?.Start,
        To = consent.Provision?.Period?.End,
        Text = string.Join('\n', Narratives.Lines(consent)),
    };

    private static string Iso(DateOnly day) => day.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);

    private static string Words(DateOnly day) => day.ToString("d MMMM yyyy", CultureInfo.InvariantCulture);
}
