namespace RehabRecords.Clinical;

/// <summary>What is wrong with an input, so that whoever sent it can put it right.</summary>
/// <param name="Element">The element's name, as the caller knows it.</param>
/// <param name="Value">The value that was given, in text; null when there was none.</param>
/// <param name="Allowed">What would be allowed.</param>
/// <param name="Remedy">What to do.</param>
public sealed record InputProblem(string Element, string? Value, string Allowed, string Remedy)
{
    /// <summary>All four in a sentence.</summary>
    public string Message => $"{Element} is {(string.IsNullOrWhiteSpace(Value) ? "missing" : Value)}; allowed: {Allowed}. {char.ToUpperInvariant(Remedy[0])}{Remedy[1..]}.";
}

/// <summary>A calculation was given something it cannot honestly answer for.</summary>
public sealed class UnfitInputException : ArgumentException
{
    /// <summary>Names the element, the value, what is allowed and the remedy.</summary>
    public UnfitInputException(string element, string? value, string allowed, string remedy)
        : this(new InputProblem(element, value, allowed, remedy))
    {
    }

    /// <summary>From a problem found by a check.</summary>
    public UnfitInputException(InputProblem problem) : base(problem?.Message) =>
        Problem = problem ?? throw new ArgumentNullException(nameof(problem));

    /// <summary>The problem in its parts.</summary>
    public InputProblem Problem { get; }
}
