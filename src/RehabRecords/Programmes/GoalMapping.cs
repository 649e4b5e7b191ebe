using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>Between the goal of a request and Goal.</summary>
internal static class GoalMapping
{
    public static Goal ToGoal(this GoalRequest request, string person, DateOnly start)
    {
        var goal = new Goal
        {
            LifecycleStatus = Goal.GoalLifecycleStatus.Active,
            Description = new CodeableConcept { Text = request.Description },
            Subject = new ResourceReference($"Patient/{person}"),
            Start = new Date(Timings.Iso(start)),
            Target =
            [
                new Goal.TargetComponent
                {
                    Measure = Concepts.Concept(Systems.Measure, MeasureCode.GasLevel, "Goal attainment level"),
                    Detail = new Integer(0),
                    Due = new Date(Timings.Iso(request.Due!.Value)),
                },
            ],
            Text = Readable.Of([
                $"Goal: {request.Description}",
                .. GoalRules.LevelNames.Select(name => $"Level {name}: {request.Levels![name]}"),
                $"Level 0 is expected by {request.Due:d MMMM yyyy}.",
                request.Importance is null ? null : $"Importance {request.Importance} of 3.",
                request.Difficulty is null ? null : $"Difficulty {request.Difficulty} of 3."]),
        };
        goal.Profiled(Profiles.Goal);
        foreach (var name in GoalRules.LevelNames)
        {
            var level = new Extension { Url = Extensions.AttainmentLevel };
            level.Extension.Add(new Extension("level", new Integer(Number(name))));
            level.Extension.Add(new Extension("description", new FhirString(request.Levels![name])));
            goal.Extension.Add(level);
        }

        if (request.Importance is not null || request.Difficulty is not null)
        {
            var weight = new Extension { Url = Extensions.GoalWeight };
            if (request.Importance is { } importance)
                weight.Extension.Add(new Extension("importance", new Integer(importance)));
            if (request.Difficulty is { } difficulty)
                weight.Extension.Add(new Extension("difficulty", new Integer(difficulty)));
            goal.Extension.Add(weight);
        }

        return goal;
    }

    public static GoalAnswer ToAnswer(this Goal goal)
    {
        var weight = goal.GetExtension(Extensions.GoalWeight);
        return new GoalAnswer(
            goal.Id!,
            goal.Description?.Text,
            goal.GetExtensions(Extensions.AttainmentLevel)
                .OrderBy(e => e.GetExtensionValue<Integer>("level")?.Value)
                .ToDictionary(e => Name(e.GetExtensionValue<Integer>("level")?.Value ?? 0), e => e.GetExtensionValue<FhirString>("description")?.Value ?? ""),
            weight?.GetExtensionValue<Integer>("importance")?.Value,
            weight?.GetExtensionValue<Integer>("difficulty")?.Value,
            (goal.Target.FirstOrDefault()?.Due as Date)?.Value);
    }

    private static int Number(string name) => int.Parse(name, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture);

    private static string Name(int level) => level > 0 ? $"+{level}" : level.ToString(CultureInfo.InvariantCulture);
}

public sealed record GoalAnswer(string Id, string? Description, IReadOnlyDictionary<string, string> Levels, int? Importance, int? Difficulty, string? Due);
