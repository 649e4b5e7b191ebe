using System.Globalization;
using System.Text.Json;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Desk;

/// <summary>Reads what was typed as what a request wants, and keeps what could not be read to tell all of it at once.</summary>
internal sealed class Typed
{
    private readonly List<Issue> _unreadable = [];

    public int? Whole(string field, string? text) => text is null ? null
        : int.TryParse(text, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out var number) ? number
        : Refuse<int>(field, text, "a whole number in figures, such as 10");

    public decimal? Number(string field, string? text) => text is null ? null
        : decimal.TryParse(text.Replace(',', '.'), NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out var number) ? number
        : Refuse<decimal>(field, text, "a number in figures, such as 7.5");

    public DateOnly? Day(string field, string? text) => text is null ? null
        : DateOnly.TryParseExact(text, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out var day) ? day
        : Refuse<DateOnly>(field, text, "a day as year-month-day, such as 2026-06-01");

    public void Refuse(string field, string message) => _unreadable.Add(Issue.Error(OperationOutcome.IssueType.Value, message, field));

    /// <summary>
    /// The way of a posted body: the same reading, the same rules, the same refusals. All that is wrong is told together.
    /// </summary>
    /// <param name="once">A key by which the same form sent twice is done once; null where a second time does no harm.</param>
    public async Task<Posted<T>> AskAsync<T>(HttpContext http, T body, CancellationToken ct, string? once = null)
        where T : class
    {
        var bytes = JsonSerializer.SerializeToUtf8Bytes(body, TradeJson.Options);
        var read = BodyText.Read<T>(bytes);
        var found = await http.RequestServices.GetRequiredService<IValidator<T>>().ValidateAsync(read, ct);
        // Of a field that could not be read it would be said that it is missing.
        var unread = _unreadable.Select(i => i.Expression).ToHashSet();
        var all = _unreadable.Concat(found.Errors.Where(e => !unread.Contains(e.PropertyName)).Select(e => Issue.Error(OperationOutcome.IssueType.Value, e.ErrorMessage, e.PropertyName))).ToList();
        if (all.Count > 0)
            throw new RefusedException(Refusal.Invalid, all);
        var hash = PostedBody.Hash(http.Request.Path, bytes);
        return new Posted<T>(read, hash, once is null ? null : new IdempotencyKey("page", $"{once}.{hash}", hash));
    }

    private T? Refuse<T>(string field, string text, string wanted)
        where T : struct
    {
        Refuse(field, $"{field} is '{Rules.Shown(text)}'; give {wanted}.");
        return null;
    }
}

internal static class FormReads
{
    /// <summary>What was typed into a field; null when it was left empty.</summary>
    public static string? Text(this IFormCollection form, string field) =>
        form[field].ToString().ReplaceLineEndings("\n").Trim() is { Length: > 0 } text ? text : null;
}
