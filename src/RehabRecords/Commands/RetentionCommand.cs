using RehabRecords.Access;
using RehabRecords.Retention;

namespace RehabRecords.Commands;

/// <summary>retention: whose record is due for a look, and who is under legal hold. Nothing is changed.</summary>
internal static class RetentionCommand
{
    public static async Task<int> RunAsync(CommandLine line, Func<string[], WebApplication> build, CancellationToken ct)
    {
        await using var app = build(line.Settings);
        var list = await app.Services.GetRequiredService<RetentionReview>().ReadAsync(app.Services.GetRequiredService<Stores>().Of(Stores.Only), all: false, ct);
        Console.WriteLine($"{list.Today:yyyy-MM-dd}, {list.Records} {(list.Records == 1 ? "record" : "records")}. {(list.Jurisdiction is null ? list.Rule : $"Rule of {list.Jurisdiction}: {list.Rule}.")}");
        if (list.Source is not null)
            Console.WriteLine($"Source ({list.SourceKnown}): {list.Source}. {list.Remark}");
        Say("Due for a look", list.People.Where(p => p.State == RetentionReview.Due));
        Say("Due, but under legal hold", list.People.Where(p => p.State == RetentionReview.Held));
        Say("Under legal hold and not due", list.People.Where(p => p.State is not (RetentionReview.Due or RetentionReview.Held)));
        Console.WriteLine("Nothing was changed. A records officer decides (docs/retention.md).");
        return 0;
    }

    private static void Say(string heading, IEnumerable<RetentionLine> people)
    {
        var lines = people.ToList();
        Console.WriteLine($"{heading}: {(lines.Count == 0 ? "nobody" : lines.Count.ToString(System.Globalization.CultureInfo.InvariantCulture))}");
        foreach (var person in lines)
        {
            Console.WriteLine($"- {person.Id}  {person.Name}  {(person.DueOn is { } due ? $"since {due:yyyy-MM-dd}: " : "")}{person.Why}");
            foreach (var remark in person.Holds.Select(h => $"legal hold since {h.Since} by {h.By}: {h.Reason}").Concat(person.Remarks))
                Console.WriteLine($"    {remark}");
        }
    }
}
