namespace RehabRecords.Rest;

internal enum Return
{
    Unsaid,
    Minimal,
    Representation,
    Outcome,
}

/// <summary>What the Prefer header asks for. What is not understood is not a fault (RFC 7240).</summary>
internal readonly record struct Preferences(Return Return, bool Lenient)
{
    public static Preferences Of(HttpRequest request)
    {
        var found = default(Preferences);
        foreach (var part in request.Headers["Prefer"].SelectMany(h => (h ?? "").Split(',', ';')))
        {
            found = part.Trim().Replace(" ", "", StringComparison.Ordinal) switch
            {
                "return=minimal" => found with { Return = Return.Minimal },
                "return=representation" => found with { Return = Return.Representation },
                "return=OperationOutcome" => found with { Return = Return.Outcome },
                "handling=lenient" => found with { Lenient = true },
                "handling=strict" => found with { Lenient = false },
                _ => found,
            };
        }
        return found;
    }
}
