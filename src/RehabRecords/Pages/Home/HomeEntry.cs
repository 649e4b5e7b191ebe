using System.Globalization;
using Microsoft.Extensions.Primitives;
using RehabRecords.HomeLinks;
using RehabRecords.Sessions;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Home;

/// <summary>
/// A report as the recording page sends it, with or without script, turned into a session. What was not said stays
/// unknown. Faults are told in the words of the page.
/// </summary>
internal sealed class HomeEntry(IReadOnlyDictionary<string, StringValues> form, OpenedLink link, IReadOnlyDictionary<string, (string Id, string Title)> prescriptions, DateTimeOffset now)
{
    /// <summary>R4's own way to hold a UUID as an identifier.</summary>
    public const string IdentifierSystem = "urn:ietf:rfc:3986";

    public const int LongestText = 2000;

    private readonly List<string> _faults = [];

    public static string IdentifierOf(string entry) => $"urn:uuid:{entry}";

    public static bool IsEntry(string text) => Guid.TryParseExact(text, "D", out _) && !text.Any(char.IsAsciiLetterUpper);

    public IReadOnlyList<string> Faults => _faults;

    public string Entry => Of("entry");

    /// <summary>Codes that the catalogue has; a code it does not have is a fault.</summary>
    public IReadOnlyList<string> RedFlags => [.. All("flag").Where(c => CodeLists.RedFlag.Has(c)).Distinct()];

    /// <summary>The session as it was reported; null when <see cref="Faults"/> say what is to be put right.</summary>
    public SessionRequest? Read()
    {
        foreach (var flag in All("flag").Where(c => !CodeLists.RedFlag.Has(c)))
            _faults.Add($"“{Rules.Shown(flag)}” is not on the list of warning signs. Open this page again.");
        var exercises = prescriptions.Where(p => Of($"e-{p.Key}") is "done" or "left-out").Select(p => Result(p.Key, p.Value.Id, p.Value.Title)).OfType<ResultRequest>().ToList();
        if (form.Keys.FirstOrDefault(k => k.StartsWith("e-", StringComparison.Ordinal) && !prescriptions.ContainsKey(k[2..])) is not null)
            _faults.Add("An exercise on this page is not part of the programme. Open the page again.");
        if (Tell is { Length: > LongestText })
            _faults.Add($"What you want to tell is too long: {Tell.Length} letters. Keep it under {LongestText}.");
        if (Name is { Length: > Rules.ShortText })
            _faults.Add($"The name is too long. Keep it under {Rules.ShortText} letters.");
        return Of("session") == "missed" ? Missed(exercises.Count) : Done(exercises);
    }

    /// <summary>Only the warning signs of the report, for when the rest cannot be taken as it is: they must not wait for a correction.</summary>
    public SessionRequest WarningsOnly() => Whole() with { DoneAt = now, RedFlags = RedFlags };

    private SessionRequest? Done(List<ResultRequest> exercises)
    {
        if (exercises.Count == 0 && RedFlags.Count == 0 && _faults.Count == 0)
            _faults.Add("Nothing is marked yet. Mark an exercise as done or left out, or say that there was no practice.");
        var doneAt = When();
        return _faults.Count > 0 ? null : Whole() with { DoneAt = doneAt, Exercises = exercises.Count == 0 ? null : exercises, RedFlags = RedFlags.Count == 0 ? null : RedFlags };
    }

    private SessionRequest? Missed(int exercises)
    {
        if (exercises > 0)
            _faults.Add("You say that there was no practice, and an exercise is marked too. Change one of them.");
        var day = Day("missed-day");
        if (day is null)
            _faults.Add("Say on which day there was no practice.");
        else if (day > link.Today)
            _faults.Add("The day without practice is still to come. Choose today or an earlier day.");
        if (!CodeLists.NotDoneReason.Has(Of("missed-reason")))
            _faults.Add("Choose why there was no practice. “Another reason” is a choice too.");
        return _faults.Count > 0 ? null : Whole() with
        {
            Missed = new MissedRequest { PlannedFor = day, Reason = Of("missed-reason") },
            RedFlags = RedFlags.Count == 0 ? null : RedFlags,
        };
    }

    private SessionRequest Whole() => new()
    {
        Identifier = new BusinessId { System = IdentifierSystem, Value = IdentifierOf(Entry) },
        Person = link.Person,
        Programme = link.Programme.Id,
        ReportedBy = new ReporterRequest { Role = Role, Name = Role == "carer" && Name is { Length: > 0 and <= Rules.ShortText } ? Name : null },
        Remark = Tell is { Length: > 0 and <= LongestText } ? Tell : null,
    };

    private ResultRequest? Result(string handle, string prescription, string title)
    {
        if (Of($"e-{handle}") == "left-out")
        {
            var reason = Of($"w-{handle}");
            if (!CodeLists.NotDoneReason.Has(reason))
                _faults.Add($"{title}: choose why it was left out. “Another reason” is a choice too.");
            // Whatever was filled in before it was marked as left out is not shown any more, and not meant.
            return new ResultRequest { Exercise = prescription, Skipped = new SkippedRequest { Reason = reason } };
        }
        return new ResultRequest
        {
            Exercise = prescription,
            Repetitions = Number($"n-{handle}", SessionRequest.MostRepetitions, title, "how many times"),
            Minutes = Number($"m-{handle}", SessionRequest.MostMinutes, title, "how many minutes"),
            PainDuring = Number($"p-{handle}", 10, title, "the pain"),
            Help = Help(handle, title),
        };
    }

    private string? Help(string handle, string title)
    {
        var help = Of($"h-{handle}");
        if (help.Length > 0 && !CodeLists.HelpLevel.Has(help))
            _faults.Add($"{title}: choose the help from the list.");
        return help.Length == 0 ? null : help;
    }

    private int? Number(string field, int most, string title, string what)
    {
        if (Of(field) is not { Length: > 0 } text)
            return null;
        if (int.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var number) && number <= most)
            return number;
        _faults.Add($"{title}: “{Rules.Shown(text)}” cannot be {what}. Give a whole number from 0 to {most}, or leave it empty.");
        return null;
    }

    private DateTimeOffset When()
    {
        var zone = TimeZoneInfo.FindSystemTimeZoneById(link.Zone);
        if (Of("when") != "earlier")
            // The phone notes the moment of a report that it keeps for later; a clock that is ahead cannot be right.
            return TimeZoneInfo.ConvertTime(DateTimeOffset.TryParse(Of("at"), CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal, out var noted) && noted < now ? noted : now, zone);
        if (Day("day") is not { } day || !TimeOnly.TryParseExact(Of("time"), ["HH:mm", "HH:mm:ss"], CultureInfo.InvariantCulture, DateTimeStyles.None, out var time))
        {
            _faults.Add("Say on which day and at about what time it was done.");
            return now;
        }
        var local = day.ToDateTime(time);
        var at = new DateTimeOffset(local, zone.GetUtcOffset(local));
        if (at > now + SessionRules.ClockTolerance)
            _faults.Add("The time is still to come. Give the time at which it was done.");
        return at;
    }

    private DateOnly? Day(string field) =>
        DateOnly.TryParseExact(Of(field), "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out var day) ? day : null;

    private string Role => CodeLists.HomeLink.Has(Of("role")) ? Of("role") : link.For;

    private string Name => Of("name").Trim();

    private string Tell => Of("tell").Trim();

    private string Of(string field) => form.TryGetValue(field, out var value) && value.Count > 0 ? value[0] ?? "" : "";

    private IEnumerable<string> All(string field) => form.TryGetValue(field, out var values) ? values.OfType<string>() : [];
}
