using System.Text.Json;

namespace RehabRecords.Pages.Caseload;

/// <summary>What the caseload keeps of one person: a few dates and words, taken from the record as it changes.</summary>
internal sealed class PersonState(string id)
{
    private readonly Dictionary<string, DateOnly> _reports = new(StringComparer.Ordinal);

    public string Id { get; } = id;

    public string? Name { get; private set; }

    public string? SortName { get; private set; }

    public string? BirthDate { get; private set; }

    public string? Identifier { get; private set; }

    public Dictionary<string, (string Title, string Status, DateOnly? Start, DateOnly? End)> Programmes { get; } = new(StringComparer.Ordinal);

    public Dictionary<string, (string Words, DateOnly Since)> RedFlags { get; } = new(StringComparer.Ordinal);

    public Dictionary<string, (string Title, DateOnly Since)> Drafts { get; } = new(StringComparer.Ordinal);

    public Dictionary<string, (string Description, DateOnly Due)> Goals { get; } = new(StringComparer.Ordinal);

    public Dictionary<string, (string Words, DateOnly Since, AttentionKind Kind)> Tasks { get; } = new(StringComparer.Ordinal);

    /// <summary>Day of the latest session, done or missed.</summary>
    public DateOnly? LastReport { get; private set; }

    public void Forget(string type, string resource)
    {
        switch (type)
        {
            case "Patient": Name = null; break;
            case "CarePlan": Programmes.Remove(resource); break;
            case "Flag": RedFlags.Remove(resource); break;
            case "Composition": Drafts.Remove(resource); break;
            case "Goal": Goals.Remove(resource); break;
            case "Task": Tasks.Remove(resource); break;
            case "Procedure" when _reports.Remove(resource):
                LastReport = _reports.Count == 0 ? null : _reports.Values.Max();
                break;
        }
    }

    private static AttentionKind KindOf(string code) => code switch
    {
        Terms.WorkItem.Briefing or Terms.WorkItem.BriefingAcknowledgement => AttentionKind.Briefing,
        Terms.WorkItem.ExchangeConflict => AttentionKind.Conflict,
        _ => AttentionKind.Task,
    };

    public void Take(string type, string resource, JsonElement json)
    {
        Forget(type, resource);
        switch (type)
        {
            // Merged into another record, which has its place on the list.
            case "Patient" when json.First("link")?.Text("type") == "replaced-by":
                break;
            case "Patient":
                var name = json.First("name");
                var family = name?.Text("family");
                var given = name is { } n && n.TryGetProperty("given", out var all) ? string.Join(' ', all.EnumerateArray().Select(g => g.GetString())) : null;
                Name = string.Join(' ', new[] { given, family }.Where(part => !string.IsNullOrEmpty(part))) is { Length: > 0 } whole ? whole : name?.Text("text") ?? "(no name)";
                SortName = $"{family} {given}";
                BirthDate = json.Text("birthDate");
                Identifier = json.First("identifier")?.Text("value");
                break;
            case "CarePlan":
                Programmes[resource] = (json.Text("title") ?? "Programme", json.Text("status") ?? "", json.Day("period", "start"), json.Day("period", "end"));
                break;
            case "Flag" when json.Text("status") == "active" && json.Coded("category", Terms.Systems.FlagCategory) == Terms.FlagCategory.RedFlag:
                RedFlags[resource] = (json.Child("code")?.Text("text") ?? json.Child("code")?.First("coding")?.Text("display") ?? "Red flag", json.Day("period", "start") ?? DateOnly.MinValue);
                break;
            case "Composition" when json.Text("status") == "preliminary":
                Drafts[resource] = (json.Text("title") ?? "Note", json.Day("date") ?? DateOnly.MinValue);
                break;
            case "Goal" when json.Text("lifecycleStatus") is "active" or "accepted" && json.First("target")?.Day("dueDate") is { } due:
                Goals[resource] = (json.Child("description")?.Text("text") ?? "Goal", due);
                break;
            case "Task" when json.Text("status") is "requested" or "received" or "accepted" or "ready" or "in-progress" or "on-hold" && json.Child("code")?.First("coding")?.Text("system") != Terms.Systems.HomeLink:
                var code = json.Child("code")?.First("coding")?.Text("code") ?? "";
                Tasks[resource] = ((json.Text("description") ?? json.Child("code")?.Text("text") ?? code).TrimEnd('.'), json.Day("authoredOn") ?? DateOnly.MinValue, KindOf(code));
                break;
            case "Procedure" when (json.Day("performedDateTime") ?? json.Day("performedPeriod", "start")) is { } day:
                _reports[resource] = day;
                LastReport = LastReport is { } last && last > day ? last : day;
                break;
        }
    }
}
