using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;

namespace RehabRecords.Trade;

/// <summary>An identifier of the sender's own; no two resources of a type may hold the same one.</summary>
public sealed record BusinessId
{
    [Required, Description("Who gave the identifier: an absolute address such as https://clinic.example/id/person.")]
    public string? System { get; init; }

    [Required, Description("The identifier itself, 1 to 200 characters.")]
    public string? Value { get; init; }

    public Identifier ToFhir() => new(System, Value);

    public static BusinessId? From(Identifier? identifier) => identifier is null ? null : new() { System = identifier.System, Value = identifier.Value };
}

internal sealed class BusinessIdRules : AbstractValidator<BusinessId>
{
    public BusinessIdRules()
    {
        RuleFor(i => i.System).Needed("an absolute address such as https://clinic.example/id/person");
        RuleFor(i => i.System).Custom((system, context) =>
        {
            if (!string.IsNullOrWhiteSpace(system) && !(system.Length <= Rules.ShortText && !system.Any(char.IsWhiteSpace) && Uri.TryCreate(system, UriKind.Absolute, out _)))
                context.Fault($"{context.PropertyPath} is '{Rules.Shown(system)}'; give an absolute address of at most {Rules.ShortText} characters without spaces, such as https://clinic.example/id/person.");
            else if (system?.StartsWith(Terms.Canonical.Base + "/id/", StringComparison.Ordinal) == true)
                context.Fault($"{context.PropertyPath} is '{Rules.Shown(system)}', which the service keeps for identifiers of its own; give an address of yours.");
        });
        RuleFor(i => i.Value).Needed("the identifier, 1 to 200 characters");
        RuleFor(i => i.Value).Text(Rules.ShortText);
    }
}
