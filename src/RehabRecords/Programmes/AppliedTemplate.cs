using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>
/// A template applied to a person, in R4's shape: a CarePlan whose one activity is a RequestGroup that has the template's
/// actions, and for each exercise a proposed ServiceRequest. The levels stay a choice, since choosing one is the
/// clinician's. All of it is contained, so that the proposal is whole by itself and leaves no trace in the record.
/// </summary>
internal sealed class AppliedTemplate
{
    private const string GroupId = "actions";

    private readonly ApplyFor _for;
    private readonly List<Resource> _contained = [];
    private readonly List<string?> _words = [];

    private AppliedTemplate(ApplyFor @for) => _for = @for;

    public static async Task<CarePlan> OfAsync(PlanDefinition template, ApplyFor @for, CancellationToken ct)
    {
        var applied = new AppliedTemplate(@for);
        var canonical = template.Version is null ? template.Url : $"{template.Url}|{template.Version}";
        var group = new RequestGroup
        {
            Id = GroupId,
            InstantiatesCanonical = canonical is null ? [] : [canonical],
            Status = RequestStatus.Draft,
            Intent = RequestIntent.Proposal,
            Subject = @for.Subject,
            AuthoredOnElement = new FhirDateTime(@for.Now),
            Author = @for.By,
        };
        foreach (var action in template.Action)
            group.Action.Add(await applied.ActionAsync(action, ct));
        return new CarePlan
        {
            Contained = [group, .. applied._contained],
            InstantiatesCanonical = canonical is null ? [] : [canonical],
            Status = RequestStatus.Draft,
            Intent = CarePlan.CarePlanIntent.Proposal,
            Title = template.Title,
            Description = template.Description,
            Subject = @for.Subject,
            CreatedElement = new FhirDateTime(@for.Now),
            Author = @for.By,
            Contributor = @for.Organization is { } organization ? [new ResourceReference($"Organization/{organization.Id}")] : [],
            Activity = [new CarePlan.ActivityComponent { Reference = new ResourceReference("#" + GroupId) }],
            Text = Readable.Of([$"Proposal from the template “{template.Title ?? template.Name ?? template.Url}”. Nothing has been prescribed.", .. applied._words]),
        };
    }

    private async Task<RequestGroup.ActionComponent> ActionAsync(PlanDefinition.ActionComponent action, CancellationToken ct)
    {
        if (action.DynamicValue.Count > 0)
            throw ApplyFor.Unoffered($"The action '{action.Title}' has dynamic values, which are not worked out here.", "PlanDefinition.action.dynamicValue");
        var applied = new RequestGroup.ActionComponent
        {
            ElementId = action.ElementId,
            Prefix = action.Prefix,
            Title = action.Title,
            Description = action.Description,
            TextEquivalent = action.TextEquivalent,
            Priority = action.Priority,
            Code = [.. action.Code.Select(c => (CodeableConcept)c.DeepCopy())],
            Condition = [.. action.Condition.Select(c => new RequestGroup.ConditionComponent { Kind = c.Kind, Expression = (Expression?)c.Expression?.DeepCopy() })],
            RelatedAction = [.. action.RelatedAction.Select(r => new RequestGroup.RelatedActionComponent
            {
                ActionId = r.ActionId, Relationship = r.Relationship, Offset = (DataType?)r.Offset?.DeepCopy(),
            })],
            Timing = (DataType?)action.Timing?.DeepCopy(),
            GroupingBehavior = action.GroupingBehavior,
            SelectionBehavior = action.SelectionBehavior,
            RequiredBehavior = action.RequiredBehavior,
            PrecheckBehavior = action.PrecheckBehavior,
            CardinalityBehavior = action.CardinalityBehavior,
        };
        if (action.Action.Count > 0)
        {
            _words.Add(PlainWords.Sentence(string.Join(". ", new[] { action.Prefix is { } prefix ? $"{prefix}: {action.Title}" : action.Title, action.Description }.Where(w => !string.IsNullOrEmpty(w)))));
            foreach (var below in action.Action)
                applied.Action.Add(await ActionAsync(below, ct));
            return applied;
        }

        var resource = await ResourceAsync(action, ct);
        resource.Id = $"request-{_contained.Count + 1}";
        _contained.Add(resource);
        applied.Resource = new ResourceReference("#" + resource.Id);
        return applied;
    }

    private async Task<Resource> ResourceAsync(PlanDefinition.ActionComponent action, CancellationToken ct)
    {
        if (action.Definition is not Canonical { Value: { } canonical })
        {
            // An action without a definition is a piece of work in words.
            _words.Add(action.Title);
            return new Hl7.Fhir.Model.Task
            {
                Status = Hl7.Fhir.Model.Task.TaskStatus.Draft,
                Intent = Hl7.Fhir.Model.Task.TaskIntent.Proposal,
                Description = action.Description ?? action.Title ?? action.TextEquivalent,
                For = _for.Subject,
                AuthoredOnElement = new FhirDateTime(_for.Now),
                Requester = _for.By,
            };
        }

        var parts = canonical.Split('|');
        var query = $"url={Uri.EscapeDataString(parts[0])}" + (parts.Length > 1 ? $"&version={Uri.EscapeDataString(parts[1])}" : "&_sort=-_lastUpdated");
        var found = await _for.Store.FindAllAsync<ActivityDefinition>(query, ct);
        var exercise = found.Count > 0
            ? found[0]
            : throw ApplyFor.Unoffered($"The action '{action.Title}' is defined by {canonical}, which is not an ActivityDefinition of this service.", "PlanDefinition.action.definition");
        var request = _for.Request(exercise, ExerciseParts.SetUpOf(action)?.Dosage);
        _words.Add(request.PatientInstruction?.Replace('\n', ' '));
        // A contained resource is told by the narrative of the one that contains it.
        request.Text = null;
        return request;
    }
}
