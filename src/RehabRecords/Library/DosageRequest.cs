using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Library;

/// <summary>How much of an exercise on one occasion.</summary>
public sealed record DosageRequest
{
    public const int MostSets = 100;
    public const int MostRepetitions = 10_000;
    public const int MostSeconds = 3600;
    public const int MostMinutes = 1440;

    [Range(1, MostSets), Description("Sets on one occasion, 1 to 100.")]
    public int? Sets { get; init; }

    [Range(1, MostRepetitions), Description("Repetitions in each set, 1 to 10000.")]
    public int? Repetitions { get; init; }

    [Range(1, MostSeconds), Description("How long each repetition is held, seconds, 1 to 3600.")]
    public int? HoldSeconds { get; init; }

    [Range(1, MostSeconds), Description("Rest between sets, seconds, 1 to 3600; left out if none is wanted.")]
    public int? RestSeconds { get; init; }

    [Range(1, MostMinutes), Description("Minutes on one occasion, 1 to 1440; beside or instead of repetitions.")]
    public decimal? Minutes { get; init; }

    [Description("Tempo in words, such as slow and smooth.")]
    public string? Tempo { get; init; }

    /// <summary>What this one says, and what <paramref name="other"/> says where this one is silent.</summary>
    public DosageRequest Over(DosageRequest? other) => other is null ? this : new()
    {
        Sets = Sets ?? other.Sets,
        Repetitions = Repetitions ?? other.Repetitions,
        HoldSeconds = HoldSeconds ?? other.HoldSeconds,
        RestSeconds = RestSeconds ?? other.RestSeconds,
        Minutes = Minutes ?? other.Minutes,
        Tempo = Tempo ?? other.Tempo,
    };
}

/// <summary>A whole dosage says how much is to be done; a tailored one may change a single number.</summary>
internal sealed class DosageRules : AbstractValidator<DosageRequest>
{
    public DosageRules(bool whole)
    {
        RuleFor(d => d.Sets).WithinRange(1, DosageRequest.MostSets, "a number of sets");
        RuleFor(d => d.Repetitions).WithinRange(1, DosageRequest.MostRepetitions, "a number of repetitions in each set");
        RuleFor(d => d.HoldSeconds).WithinRange(1, DosageRequest.MostSeconds, "seconds");
        RuleFor(d => d.RestSeconds).WithinRange(1, DosageRequest.MostSeconds, "seconds");
        RuleFor(d => d.Minutes).WithinRange(1, DosageRequest.MostMinutes, "minutes");
        RuleFor(d => d.Tempo).Text(Rules.ShortText);
        if (whole)
            RuleFor(d => d).Custom((dosage, context) =>
            {
                if (dosage.Repetitions is null && dosage.Minutes is null)
                    context.Fault($"{context.PropertyPath} says neither repetitions nor minutes; give at least one of them.");
                if (dosage.Repetitions is not null && dosage.Sets is null)
                    context.FaultOf("sets", $"is missing; give the number of sets from 1 to {DosageRequest.MostSets} (1 if all repetitions are done in one go).");
            });
    }
}
