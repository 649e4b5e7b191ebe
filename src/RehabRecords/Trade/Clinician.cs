using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Trade;

/// <summary>A registered clinician or other professional who wrote, measured or decided something.</summary>
public sealed record Clinician
{
    [Required, Description("Name as it should appear in notes.")]
    public string? Name { get; init; }

    [Required, Description("Professional role in words, such as physiotherapist.")]
    public string? Role { get; init; }

    [Description("Registration number with the professional body. With it, the same person is recognised again.")]
    public string? Registration { get; init; }

    /// <summary>Two requests that name a new clinician at once both make the Practitioner; the later one tries again and finds it.</summary>
    internal const int Tries = 5;

    public string Words => Registration is null ? $"{Name}, {Role}" : $"{Name}, {Role}, registration {Registration}";

    /// <summary>
    /// A reference to this clinician. Without a registration number nobody can be told from a namesake, so only the
    /// words are kept; with one, the Practitioner is found again or made in the same transaction.
    /// </summary>
    public async Task<ResourceReference> ReferenceAsync(RecordStore store, WriteSet set, CancellationToken ct)
    {
        if (Registration is null)
            return new ResourceReference { Type = "Practitioner", Display = Words };
        var system = Canonical.Identifier("registration");
        var id = await store.HolderOfAsync("Practitioner", system, Registration, ct)
            ?? set.Create(new Practitioner
            {
                Identifier = [new Identifier(system, Registration)],
                Name = [new HumanName { Text = Name }],
                Qualification = [new Practitioner.QualificationComponent { Code = new CodeableConcept { Text = Role } }],
                Text = Readable.Of(Words),
            }).Id;
        return new ResourceReference($"Practitioner/{id}", Words);
    }
}

internal sealed class ClinicianRules : AbstractValidator<Clinician>
{
    /// <summary>Those who live with the person or help at home do not prescribe, measure or clear.</summary>
    private static readonly string[] NotClinical = ["patient", "carer", "relative", "family", "friend", "support-worker", "support worker", "volunteer"];

    public ClinicianRules()
    {
        RuleFor(c => c.Name).Needed("the clinician's name");
        RuleFor(c => c.Name).Text(Rules.ShortText);
        RuleFor(c => c.Role).Needed("the professional role in words, such as physiotherapist");
        RuleFor(c => c.Role).Text(Rules.ShortText);
        RuleFor(c => c.Role).Custom((role, context) =>
        {
            if (role is not null && NotClinical.Contains(role.Trim(), StringComparer.OrdinalIgnoreCase))
                context.Fault($"{context.PropertyPath} is '{role}', which is not a clinician's role; this needs a registered clinician, such as a physiotherapist.");
        });
        RuleFor(c => c.Registration).Text(64);
    }
}
