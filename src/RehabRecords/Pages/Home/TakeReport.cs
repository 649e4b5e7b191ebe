using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using FluentValidation;
using Microsoft.Extensions.Primitives;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.HomeLinks;
using RehabRecords.Sessions;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Home;

/// <summary>What became of a report from home.</summary>
/// <param name="Session">Id of the session it became; null when nothing was taken in.</param>
/// <param name="Urgent">What cannot wait, whether the rest was taken in or not.</param>
/// <param name="Faults">What is to be put right before the rest is taken in.</param>
internal sealed record Taken(string? Session, IReadOnlyList<RedFlag> Urgent, IReadOnlyList<string> Faults);

/// <summary>Takes in a report of the recording page, by the same command as every other session.</summary>
internal sealed class TakeReport(RecordSession record, IValidator<SessionRequest> rules, HomeReads reads, TimeProvider clock)
{
    private const string NotAsItIs = "It could not be taken as it is. Ask your therapist, and tell them what you filled in.";

    public async Task<Taken> RunAsync(OpenedLink link, IReadOnlyDictionary<string, StringValues> form, bool byScript, CancellationToken ct)
    {
        var entry = new HomeEntry(form, link, await reads.PrescriptionsAsync(link, ct), clock.GetUtcNow());
        if (!HomeEntry.IsEntry(entry.Entry))
            return new Taken(null, Ticked(entry), ["This page is incomplete. Open it again."]);
        var hash = HashOf(link, form);
        var faults = new List<string>();
        try
        {
            if (entry.Read() is { } session)
                return await RecordAsync(session, hash, ct);
            faults.AddRange(entry.Faults);
        }
        catch (RefusedException refused) when (refused.Refusal is Refusal.Conflict or Refusal.KeyReused)
        {
            // A phone gives each report an identifier of its own, so this one is in; its first answer was forgotten meanwhile.
            if (byScript && await reads.SessionAsync(link, entry.Entry, ct) is { } earlier)
                return new Taken(earlier, await reads.RaisedAsync(link, earlier, ct), []);
            return new Taken(null, Ticked(entry), ["This page was sent before with other entries, and those were taken in. If this is another time of practice, send it again now."]);
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.Invalid)
        {
            faults.AddRange(refused.Issues.Select(Plain).Distinct());
        }
        if (entry.RedFlags.Count == 0)
            return new Taken(null, [], faults);
        try
        {
            var warned = await RecordAsync(entry.WarningsOnly(), hash, ct);
            return warned with { Faults = faults };
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.Invalid)
        {
            return new Taken(null, Ticked(entry), [.. faults, "The warning sign could not be sent either: tell your therapist by telephone."]);
        }
    }

    private async Task<Taken> RecordAsync(SessionRequest session, string hash, CancellationToken ct)
    {
        var found = await rules.ValidateAsync(session, ct);
        if (!found.IsValid)
            throw new RefusedException(Refusal.Invalid, [.. found.Errors.Select(e => Issue.Error(Hl7.Fhir.Model.OperationOutcome.IssueType.Value, e.ErrorMessage, e.PropertyName))]);
        var kept = (KeptAnswer)await record.RunAsync(new Posted<SessionRequest>(session, hash, null), ct);
        var answer = JsonSerializer.Deserialize<JsonElement>(kept.Answer.Body.Span);
        IReadOnlyList<RedFlag> urgent = answer.GetProperty("urgent") is { ValueKind: JsonValueKind.Array } list ? [.. list.EnumerateArray().Select(u => SafetyScreen.Get(u.GetProperty("code").GetString()!))] : [];
        return new Taken(kept.Answer.Location.Split('/')[^1], urgent, []);
    }

    /// <summary>What somebody at home can do about it. The messages of the trade interface name fields and ids, which do not belong on this page.</summary>
    private static string Plain(Issue issue) => issue.Expression switch
    {
        "doneAt" or "missed.plannedFor" => "That day is outside the programme. Choose another day, or ask your therapist.",
        "reportedBy.name" => "The name cannot be taken. Write it again, or leave it out.",
        "remark" => "What you want to tell cannot be taken. Write it again, or leave it out.",
        _ => NotAsItIs,
    };

    private static IReadOnlyList<RedFlag> Ticked(HomeEntry entry) => [.. SafetyScreen.Catalogue.Where(f => entry.RedFlags.Contains(f.Code))];

    /// <summary>Over what was filled in, not over what is made of it: a report sent twice is one, although "now" has moved on.</summary>
    private static string HashOf(OpenedLink link, IReadOnlyDictionary<string, StringValues> form)
    {
        using var sha = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        sha.AppendData(Encoding.UTF8.GetBytes(link.Task.Id!));
        foreach (var (field, values) in form.OrderBy(f => f.Key, StringComparer.Ordinal))
            foreach (var value in values)
                sha.AppendData(Encoding.UTF8.GetBytes($"\n{field.Length}:{field}={value}"));
        return Convert.ToHexStringLower(sha.GetHashAndReset());
    }
}
