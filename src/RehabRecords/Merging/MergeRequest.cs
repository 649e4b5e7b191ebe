using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Retention;
using RehabRecords.Trade;

namespace RehabRecords.Merging;

/// <summary>That two records are of one person, and which of them goes on.</summary>
public sealed record MergeRequest
{
    [Required, Description("Id of the record that was made once too often. It stays readable, and says into which it was merged.")]
    public string? Duplicate { get; init; }

    [Required, Range(1, int.MaxValue), Description("Version of the Patient of the record that goes on, as it was seen.")]
    public int? Version { get; init; }

    [Required, Range(1, int.MaxValue), Description("Version of the Patient of the duplicate, as it was seen.")]
    public int? DuplicateVersion { get; init; }

    [Required, Description("How it is known that both are the same person, in at least 10 characters.")]
    public string? Reason { get; init; }

    [Description("What differs and was looked into: birth-date, family-name, sex.")]
    public IReadOnlyList<string>? Differs { get; init; }

    [Required, Description("Who merges them. Of somebody who signed in, who that is counts.")]
    public Clinician? By { get; init; }
}

/// <param name="Changed">Resources that refer to the person from now on.</param>
/// <param name="StaysSigned">What was signed and so stays as it is; it is shown with the person's documents.</param>
/// <param name="Provenance">Names every version that the merge made, for whoever has to take it back.</param>
public sealed record MergeAnswer(string Person, string Duplicate, int Changed, IReadOnlyList<string> StaysSigned, string Provenance);

internal sealed class MergeRules : AbstractValidator<MergeRequest>
{
    public static readonly string[] Differences = ["birth-date", "family-name", "sex"];

    public MergeRules()
    {
        RuleFor(m => m.Duplicate).Needed("the id of the record that was made once too often");
        RuleFor(m => m.Duplicate).IdOf("Patient");
        RuleFor(m => m.Version).NotNull().WithMessage("version is missing; give the version of the Patient that goes on, as it was seen (meta.versionId).");
        RuleFor(m => m.DuplicateVersion).NotNull().WithMessage("duplicateVersion is missing; give the version of the duplicate's Patient, as it was seen (meta.versionId).");
        RuleFor(m => m.Reason).Why("how it is known that both are the same person");
        RuleFor(m => m.Differs).Custom((differs, context) =>
        {
            foreach (var unknown in (differs ?? []).Where(d => !Differences.Contains(d, StringComparer.Ordinal)))
                context.Fault($"differs has '{Rules.Shown(unknown ?? "")}'; it may have: {string.Join(", ", Differences)}.");
        });
        RuleFor(m => m.By).Needed("who merges them, with name and role");
        RuleFor(m => m.By).SetValidator(new ClinicianRules()!);
    }
}
