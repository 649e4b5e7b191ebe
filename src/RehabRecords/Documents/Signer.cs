using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Documents;

/// <summary>Who signs, countersigns or edits. Without a registration, or as a student or support worker, a countersignature is needed.</summary>
public sealed record Signer
{
    [Required, Description("Name as it should appear in the document.")]
    public string? Name { get; init; }

    [Required, Description("Professional role in words, such as physiotherapist, student physiotherapist or support worker.")]
    public string? Role { get; init; }

    [Description("The body that keeps the register, in words. Needed with a registration number.")]
    public string? RegistrationBody { get; init; }

    [Description("Registration number with that body. Who has none needs a countersignature.")]
    public string? Registration { get; init; }

    /// <summary>Words in a role by which it is not that of a registered clinician. Common practice, no source; local policy may ask for more.</summary>
    private static readonly string[] Supervised = ["student", "support worker", "support-worker", "assistant", "apprentice", "technical instructor", "volunteer", "trainee"];

    public bool NeedsCountersignature =>
        Registration is null || Supervised.Any(w => Role!.Contains(w, StringComparison.OrdinalIgnoreCase));

    public string Words => Registration is null ? $"{Name}, {Role}" : $"{Name}, {Role}, registration {Registration} ({RegistrationBody})";

    /// <summary>
    /// A reference to this person: by the registration number the same one is found again. A number that belongs to somebody
    /// of another name is refused, since a signature must not end up under the wrong person.
    /// </summary>
    public async Task<ResourceReference> ReferenceAsync(string field, RecordStore store, WriteSet set, CancellationToken ct)
    {
        if (Registration is null)
            return new ResourceReference { Type = "Practitioner", Display = Words };
        var system = Canonical.Identifier("registration");
        if (await store.HolderOfAsync("Practitioner", system, Registration, ct) is { } id)
        {
            var (known, _) = await store.NamedAsync<Practitioner>(field, id, "clinician", ct);
            var name = known.Name.FirstOrDefault()?.Text;
            return name is null || string.Equals(name.Trim(), Name!.Trim(), StringComparison.OrdinalIgnoreCase)
                ? new ResourceReference($"Practitioner/{id}", Words)
                : throw Missing.Bad($"{field}.registration", $"{field}.registration is '{Rules.Shown(Registration)}', which the record knows as that of {name} (Practitioner/{id}), and {field}.name is '{Rules.Shown(Name!)}'; correct the one or the other, or the Practitioner where the name has changed.");
        }

        var made = set.Create(new Practitioner
        {
            Identifier = [new Identifier(system, Registration) { Assigner = new ResourceReference { Display = RegistrationBody } }],
            Name = [new HumanName { Text = Name }],
            Qualification = [new Practitioner.QualificationComponent { Code = new CodeableConcept { Text = Role }, Issuer = new ResourceReference { Display = RegistrationBody } }],
            Text = Readable.Of(Words),
        });
        return new ResourceReference($"Practitioner/{made.Id}", Words);
    }
}

internal sealed class SignerRules : AbstractValidator<Signer>
{
    private static readonly string[] NotStaff = ["patient", "carer", "relative", "family", "friend"];

    public SignerRules()
    {
        RuleFor(s => s.Name).Needed("the name as it should appear in the document");
        RuleFor(s => s.Name).Text(Rules.ShortText);
        RuleFor(s => s.Role).Needed("the professional role in words, such as physiotherapist");
        RuleFor(s => s.Role).Text(Rules.ShortText);
        RuleFor(s => s.Role).Custom((role, context) =>
        {
            if (role is not null && NotStaff.Contains(role.Trim(), StringComparer.OrdinalIgnoreCase))
                context.Fault($"{context.PropertyPath} is '{role}'; a note is written and signed by staff. What the person or a carer says is recorded with a session.");
        });
        RuleFor(s => s.Registration).Text(64);
        RuleFor(s => s.RegistrationBody).Text(Rules.ShortText);
        RuleFor(s => s.RegistrationBody).Custom((body, context) =>
        {
            if (string.IsNullOrWhiteSpace(body) && context.InstanceToValidate.Registration is not null)
                context.Fault($"{context.PropertyPath} is missing; name the body that gave the registration number.");
        });
    }
}
