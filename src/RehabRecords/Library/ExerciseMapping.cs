using Hl7.Fhir.Model;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Library;

/// <summary>Between the exercise of a request and ActivityDefinition.</summary>
internal static class ExerciseMapping
{
    public const string Publisher = "The clinic's exercise library";

    public static ActivityDefinition ToDefinition(this ExerciseRequest request)
    {
        var setUp = new ExerciseSetUp(request.Dosage!, request.Position, request.HandOrder, request.HelpLevel, request.SuccessCriterion);
        var definition = new ActivityDefinition
        {
            Url = Canonical.Exercise(request.Code!),
            Identifier = [new Identifier(Canonical.Identifier("exercise"), $"{request.Code}|{request.Version}")],
            Version = request.Version,
            Name = ComputableName(request.Code!),
            Title = request.Title,
            Status = PublicationStatus.Active,
            Experimental = false,
            Publisher = Publisher,
            Description = request.Instructions,
            Purpose = request.Purpose,
            Kind = ActivityDefinition.RequestResourceType.ServiceRequest,
            Intent = RequestIntent.Plan,
            Code = Concepts.Concept(Systems.Exercise, request.Code!, request.Title),
            Topic = request.Role is { } role ? [CodeLists.ExerciseRole.Concept(role)] : [],
        };
        definition.Profiled(Profiles.Exercise);
        definition.Extension.Add(setUp.ToExtension());
        definition.Extension.AddRange((request.Equipment ?? []).Select(e => e.ToExtension()));
        definition.Extension.AddRange((request.Grading ?? []).Select(g => g.ToExtension()));
        definition.Extension.AddRange((request.Cautions ?? []).Select(c => c.ToExtension()));
        definition.Text = Readable.Of([
            request.Title, request.Purpose, request.Instructions, PlainWords.Dosage(setUp.Dosage), .. PlainWords.SetUp(setUp),
            PlainWords.Equipment(request.Equipment ?? []), PlainWords.Success(setUp),
            .. PlainWords.Grading(request.Grading ?? []), .. PlainWords.Cautions(request.Cautions ?? [])]);
        return definition;
    }

    public static ExerciseAnswer ToAnswer(this ActivityDefinition definition)
    {
        var setUp = ExerciseParts.SetUpOf(definition);
        return new ExerciseAnswer
        {
            Id = definition.Id!,
            Exercise = $"{definition.Code.CodeIn(Systems.Exercise)}|{definition.Version}",
            Canonical = Terms.Canonical.Pinned(definition.Url!, definition.Version!),
            Code = definition.Code.CodeIn(Systems.Exercise),
            Version = definition.Version,
            Title = definition.Title,
            Purpose = definition.Purpose,
            Instructions = definition.Description,
            Position = setUp?.Position,
            Equipment = ExerciseParts.EquipmentOf(definition),
            Dosage = setUp?.Dosage,
            HandOrder = setUp?.HandOrder,
            HelpLevel = setUp?.HelpLevel,
            Grading = ExerciseParts.GradingOf(definition),
            Cautions = ExerciseParts.CautionsOf(definition),
            SuccessCriterion = setUp?.SuccessCriterion,
            Role = definition.Topic.FirstOrDefault().CodeIn(Systems.ExerciseRole),
        };
    }

    /// <summary>R4 wants a name fit for code: "coin-stacking" becomes "CoinStacking".</summary>
    public static string ComputableName(string code) =>
        string.Concat(code.Split('-').Select(word => char.ToUpperInvariant(word[0]) + word[1..]));
}

public sealed record ExerciseAnswer
{
    public required string Id { get; init; }

    /// <summary>"code|version", as programmes and templates name it.</summary>
    public required string Exercise { get; init; }

    public required string Canonical { get; init; }

    public string? Code { get; init; }

    public string? Version { get; init; }

    public string? Title { get; init; }

    public string? Purpose { get; init; }

    public string? Instructions { get; init; }

    public string? Position { get; init; }

    public IReadOnlyList<EquipmentItem> Equipment { get; init; } = [];

    public DosageRequest? Dosage { get; init; }

    public string? HandOrder { get; init; }

    public string? HelpLevel { get; init; }

    public IReadOnlyList<GradingStep> Grading { get; init; } = [];

    public IReadOnlyList<CautionItem> Cautions { get; init; } = [];

    public string? SuccessCriterion { get; init; }

    public string? Role { get; init; }
}
