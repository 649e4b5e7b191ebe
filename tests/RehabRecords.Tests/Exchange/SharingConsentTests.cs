using Hl7.Fhir.Model;
using RehabRecords.Exchange;

namespace RehabRecords.Tests.Exchange;

/// <summary>What a Consent of any shape, also one written over FHIR, means for one hand-over.</summary>
public class SharingConsentTests
{
    private static readonly DateTimeOffset Now = DateTimeOffset.Parse("2026-06-15T12:00:00Z");

    private static readonly Organization Team = new() { Id = "team", Name = "The team" };

    public static TheoryData<string, Consent[], string?> Cases => new()
    {
        { "agreed, without end", [Permit()], null },
        { "agreed with everybody: no actor is named", [Permit(p => p.Actor = [])], null },
        { "agreed for all actions: none is named", [Permit(p => p.Action = [])], null },
        { "the last day is still within", [Permit(p => p.Period = new Period { End = "2026-06-15" })], null },
        { "the day after the last is not", [Permit(p => p.Period = new Period { End = "2026-06-14" })], "expired on 2026-06-14" },
        { "a month is over when it has ended", [Permit(p => p.Period = new Period { End = "2026-06" })], null },
        { "a year that is to come", [Permit(p => p.Period = new Period { Start = "2027" })], "begins on 2027" },
        { "an end to the minute", [Permit(p => p.Period = new Period { End = "2026-06-15T11:59:00Z" })], "expired" },
        { "only collecting is agreed", [Permit(p => p.Action = [new CodeableConcept("http://terminology.hl7.org/CodeSystem/consentaction", "collect")])], "does not permit disclosing" },
        { "not every type is covered", [Permit(p => p.Class = [new Coding("http://hl7.org/fhir/resource-types", "CarePlan")])], "does not cover Observation" },
        { "every type is covered", [Permit(p => p.Class = [new Coding("http://hl7.org/fhir/resource-types", "CarePlan"), new Coding("http://hl7.org/fhir/resource-types", "Observation")])], null },
        { "an exception takes the results out", [Permit(p => p.Provision = [Deny(d => d.Class = [new Coding("http://hl7.org/fhir/resource-types", "Observation")])])], "refused to share Observation" },
        { "an exception for another team is none for this one", [Permit(p => p.Provision = [Deny(d => d.Actor = [Actor("other")])])], null },
        { "an exception that is over is none", [Permit(p => p.Provision = [Deny(d => d.Period = new Period { End = "2026-01-01" })])], null },
        { "a refusal counts for more than an agreement", [Permit(), With(Deny())], "refused to share their record" },
        { "a refusal for another team does not", [Permit(), With(Deny(d => d.Actor = [Actor("other")]))], null },
        { "a proposal is no consent", [Permit(status: Consent.ConsentState.Proposed)], "is proposed, not active" },
        { "withdrawn", [Permit(status: Consent.ConsentState.Inactive)], "withdrew" },
        { "none", [], "No consent" },
    };

    [Theory, MemberData(nameof(Cases))]
    public void A_consent_means_what_it_says(string what, Consent[] consents, string? reason)
    {
        var said = SharingConsent.Of(consents, Team, ["CarePlan", "Observation"], Now, "Europe/London");
        Assert.True(reason is null ? said.Permit is not null && said.Reason is null : said.Permit is null && said.Reason!.Contains(reason, StringComparison.Ordinal), $"{what}: {said.Reason ?? "permitted"}");
    }

    private static Consent Permit(Action<Consent.provisionComponent>? change = null, Consent.ConsentState status = Consent.ConsentState.Active)
    {
        var provision = Provision(Consent.ConsentProvisionType.Permit);
        change?.Invoke(provision);
        return With(provision, status);
    }

    private static Consent.provisionComponent Deny(Action<Consent.provisionComponent>? change = null)
    {
        var provision = Provision(Consent.ConsentProvisionType.Deny);
        change?.Invoke(provision);
        return provision;
    }

    private static Consent With(Consent.provisionComponent provision, Consent.ConsentState status = Consent.ConsentState.Active) => new() { Id = "c", Status = status, DateTime = "2026-06-01", Provision = provision };

    private static Consent.provisionComponent Provision(Consent.ConsentProvisionType type) => new()
    {
        Type = type,
        Actor = [Actor("team")],
        Action = [new CodeableConcept("http://terminology.hl7.org/CodeSystem/consentaction", "disclose")],
    };

    private static Consent.provisionActorComponent Actor(string organisation) => new() { Reference = new ResourceReference($"Organization/{organisation}") };
}
