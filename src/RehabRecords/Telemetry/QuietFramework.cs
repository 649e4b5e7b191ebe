namespace RehabRecords.Telemetry;

/// <summary>
/// What libraries may write to the log, whatever level is set. Their accounts of single requests hold addresses, which name people, and from
/// Debug on whole values of headers, forms and tokens; no setting turns those on. What the service itself says holds nothing of people at any level.
/// </summary>
internal static class QuietFramework
{
    /// <summary>
    /// The account of each request, whose scope would put its address beside every other line; and sign-in, which quotes what an issuer said of
    /// somebody: the service tells of it in words of its own.
    /// </summary>
    private static readonly string[] Silent = ["Microsoft.AspNetCore.Hosting.Diagnostics", "Microsoft.AspNetCore.Authentication", "Microsoft.IdentityModel", "OpenIddict"];

    public static void Apply(LoggerFilterOptions options)
    {
        // For what no rule is about.
        options.Rules.Insert(0, new LoggerFilterRule(null, null, options.MinLevel, null));
        for (var i = 0; i < options.Rules.Count; i++)
        {
            var rule = options.Rules[i];
            options.Rules[i] = new LoggerFilterRule(
                rule.ProviderName, rule.CategoryName, rule.LogLevel, (provider, category, level) => IsFit(category ?? "", level) && rule.Filter?.Invoke(provider, category, level) != false);
        }
    }

    internal static bool IsFit(string category, LogLevel level) =>
        IsWithin(category, "RehabRecords") || category == "Microsoft.Hosting.Lifetime" || (level >= LogLevel.Warning && !Silent.Any(s => IsWithin(category, s)));

    private static bool IsWithin(string category, string name) =>
        category.StartsWith(name, StringComparison.Ordinal) && (category.Length == name.Length || category[name.Length] == '.');
}
