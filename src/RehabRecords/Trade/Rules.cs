using System.Globalization;
using System.Text.RegularExpressions;
using FluentValidation;
using FluentValidation.Results;
using RehabRecords.Terms;

namespace RehabRecords.Trade;

/// <summary>The rules the trade requests are made of. Every message names the field, the value, the range and the remedy.</summary>
internal static partial class Rules
{
    public const int ShortText = 200;
    public const int LongText = 4000;

    public static void Fault<T>(this ValidationContext<T> context, string message) =>
        context.AddFailure(new ValidationFailure(context.PropertyPath, message));

    /// <summary>A fault of one part of what is checked as a whole.</summary>
    public static void FaultOf<T>(this ValidationContext<T> context, string part, string message)
    {
        var path = context.PropertyPath.Length == 0 ? part : $"{context.PropertyPath}.{part}";
        context.AddFailure(new ValidationFailure(path, $"{path} {message}"));
    }

    /// <summary>The field must be there; <paramref name="wanted"/> completes "give …".</summary>
    public static void Needed<T, TValue>(this IRuleBuilder<T, TValue> rule, string wanted) => rule.Custom((value, context) =>
    {
        if (value is null or "" || (value is System.Collections.ICollection { Count: 0 }) || (value is string s && string.IsNullOrWhiteSpace(s)))
            context.Fault($"{context.PropertyPath} is missing; give {wanted}.");
    });

    public static void WithinRange<T>(this IRuleBuilder<T, int?> rule, int from, int to, string what) => rule.Custom((value, context) =>
    {
        if (value < from || value > to)
            context.Fault($"{context.PropertyPath} is {value}; give {what} from {from} to {to}, or leave it out if it was not recorded.");
    });

    public static void WithinRange<T>(this IRuleBuilder<T, decimal?> rule, decimal from, decimal to, string what) => rule.Custom((value, context) =>
    {
        if (value < from || value > to)
            context.Fault($"{context.PropertyPath} is {Number(value.Value)}; give {what} from {Number(from)} to {Number(to)}, or leave it out if it was not recorded.");
    });

    /// <summary>A step as well as a range: 0.5 for half points.</summary>
    public static void InSteps<T>(this IRuleBuilder<T, decimal?> rule, decimal step, string what) => rule.Custom((value, context) =>
    {
        if (value is { } v && v % step != 0)
            context.Fault($"{context.PropertyPath} is {Number(v)}; give {what} in steps of {Number(step)}.");
    });

    public static void OneOf<T>(this IRuleBuilder<T, string?> rule, CodeList list, string what) => rule.Custom((value, context) =>
    {
        if (value is not null && !list.Has(value))
            context.Fault($"{context.PropertyPath} is '{Shown(value)}', which is not {what}; use one of: {list}.");
    });

    public static void OneOf<T>(this IRuleBuilder<T, string?> rule, string[] allowed, string what) => rule.Custom((value, context) =>
    {
        if (value is not null && !allowed.Contains(value))
            context.Fault($"{context.PropertyPath} is '{Shown(value)}', which is not {what}; use one of: {string.Join(", ", allowed)}.");
    });

    public static void Text<T>(this IRuleBuilder<T, string?> rule, int max) => rule.Custom((value, context) =>
    {
        if (value?.Length > max)
            context.Fault($"{context.PropertyPath} has {value.Length} characters; give at most {max}.");
        else if (value is not null && string.IsNullOrWhiteSpace(value))
            context.Fault($"{context.PropertyPath} is blank; write a text of 1 to {max} characters or leave it out.");
    });

    public static void AtMost<T, TItem>(this IRuleBuilder<T, IReadOnlyList<TItem>?> rule, int max) => rule.Custom((value, context) =>
    {
        if (value?.Count > max)
            context.Fault($"{context.PropertyPath} has {value.Count} entries; give at most {max}.");
    });

    /// <summary>No two entries of a list may say the same thing.</summary>
    public static void Distinct<T, TItem>(this IRuleBuilder<T, IReadOnlyList<TItem>?> rule, Func<TItem, string?> key, string what) => rule.Custom((value, context) =>
    {
        foreach (var twice in (value ?? []).Select(key).Where(k => k is not null).GroupBy(k => k).Where(g => g.Count() > 1))
            context.Fault($"{context.PropertyPath} has {what} '{Shown(twice.Key!)}' {twice.Count()} times; list it once.");
    });

    /// <summary>Codes of the clinic's own library: lower case words joined by hyphens.</summary>
    public static void LibraryCode<T>(this IRuleBuilder<T, string?> rule) => rule.Custom((value, context) =>
    {
        if (value is not null && (value.Length > 64 || !LibraryCodePattern().IsMatch(value)))
            context.Fault($"{context.PropertyPath} is '{Shown(value)}'; give 1 to 64 lower case letters, digits and single hyphens, starting with a letter, such as coin-stacking.");
    });

    public static void LibraryVersion<T>(this IRuleBuilder<T, string?> rule) => rule.Custom((value, context) =>
    {
        if (value is not null && (value.Length > 20 || !LibraryVersionPattern().IsMatch(value)))
            context.Fault($"{context.PropertyPath} is '{Shown(value)}'; give one to three numbers joined by dots, such as 1.0.0.");
    });

    /// <summary>"code|version" of something in the library.</summary>
    public static void LibraryAddress<T>(this IRuleBuilder<T, string?> rule) => rule.Custom((value, context) =>
    {
        if (value is not null && !(value.Split('|') is [var code, var version] && LibraryCodePattern().IsMatch(code) && LibraryVersionPattern().IsMatch(version)))
            context.Fault($"{context.PropertyPath} is '{Shown(value)}'; give code and version joined by '|', such as coin-stacking|1.0.0.");
    });

    /// <summary>An id of this service, alone or as "Type/id".</summary>
    public static void IdOf<T>(this IRuleBuilder<T, string?> rule, string type) => rule.Custom((value, context) =>
    {
        if (value is not null && !IdPattern().IsMatch(Bare(value, type)))
            context.Fault($"{context.PropertyPath} is '{Shown(value)}', which cannot be an id; give the id as the service answered it (letters, digits, '-' and '.', at most 64), alone or as {type}/id.");
    });

    /// <summary>"Patient/1" and "1" name the same person where only a person can be named.</summary>
    public static string Bare(string value, string type) =>
        value.StartsWith(type + "/", StringComparison.Ordinal) ? value[(type.Length + 1)..] : value;

    public static bool IsId(string value) => IdPattern().IsMatch(value);

    public static string Shown(string value) => value.Length <= 60 ? value : value[..60] + "…";

    public static string Number(decimal value) => value.ToString("0.############################", CultureInfo.InvariantCulture);

    [GeneratedRegex(@"^[a-z][a-z0-9]*(-[a-z0-9]+)*\z")]
    private static partial Regex LibraryCodePattern();

    [GeneratedRegex(@"^\d{1,5}(\.\d{1,5}){0,2}\z")]
    private static partial Regex LibraryVersionPattern();

    [GeneratedRegex(@"^[A-Za-z0-9\-.]{1,64}\z")]
    private static partial Regex IdPattern();
}
