using System.Text.RegularExpressions;
using RehabRecords.Fhir;

namespace RehabRecords.Access;

/// <summary>
/// What a system may do, as SMART's scopes of the second version say it for /fhir (system/Observation.rs, system/*.cruds), and for
/// /api by the kind of act (api/record-session, api/*).
/// </summary>
public sealed partial record Scope(string Text, string? Type, string Letters, Act? Act)
{
    /// <summary>The audit trail is about everybody's doings, so it is named or not meant.</summary>
    private const string NotUnderStar = "AuditEvent";

    /// <summary>Null when it is none that is known here; letters out of order are not accepted, as SMART allows.</summary>
    public static Scope? Read(string text, ResourceRegistry registry)
    {
        ArgumentNullException.ThrowIfNull(registry);
        if (text == "api/*")
            return new Scope(text, null, "", null);
        if (text.StartsWith("api/", StringComparison.Ordinal))
            return RoleTable.Read<Act>(text["api/".Length..]) is { } act ? new Scope(text, null, "", act) : null;
        if (Smart().Match(text) is not { Success: true } smart)
            return null;
        var (type, letters) = (smart.Groups["type"].Value, smart.Groups["letters"].Value);
        return letters.Length > 0 && (type == "*" || registry.Has(type)) ? new Scope(text, type, letters, null) : null;
    }

    /// <param name="letter">One of c, r, u, d, s.</param>
    public bool Covers(string type, char letter) => Type is not null && Letters.Contains(letter) && (Type == type || (Type == "*" && type != NotUnderStar));

    public bool Covers(Act act) => Type is null && (Act is null || Act == act);

    /// <summary>Whether all that another scope asks for is within this one.</summary>
    public bool Contains(Scope asked)
    {
        ArgumentNullException.ThrowIfNull(asked);
        return Text == asked.Text
            || (asked.Type is null ? Type is null && Act is null : Type is not null && asked.Letters.All(Letters.Contains) && (Type == asked.Type || (Type == "*" && asked.Type != NotUnderStar)));
    }

    [GeneratedRegex(@"^system/(?<type>\*|[A-Z][A-Za-z]+)\.(?<letters>c?r?u?d?s?)$")]
    private static partial Regex Smart();
}
