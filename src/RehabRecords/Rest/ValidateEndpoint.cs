using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Rest;

/// <summary>
/// $validate at the base, on a type and on a resource: the body is the resource, or Parameters with resource, mode and
/// profile. It answers 200 whether or not the resource is valid; an error status means that it could not be judged.
/// </summary>
internal static class ValidateEndpoint
{
    public static Operation Operation { get; } =
        new("validate", "http://hl7.org/fhir/OperationDefinition/Resource-validate", Level.System | Level.Type | Level.Instance, AnswerAsync) { Methods = ["POST"], TakesBundle = true };

    public static async Task<IResult> AnswerAsync(Call call)
    {
        call.RefuseOtherQueryThan("profile", "mode");
        var id = call.Http.Request.RouteValues.ContainsKey("id") ? call.Id : null;
        Resource body;
        try
        {
            body = await call.ReadBodyAsync();
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.Malformed && refused.Issues.Any(i => i.Expression is not ("" or "Resource")))
        {
            // It could be read far enough to say which element is wrong: that is a finding, not a failure to look.
            return new OutcomeResult(StatusCodes.Status200OK, refused.Issues);
        }
        var asked = Asked.Of(call, body);
        return new OutcomeResult(StatusCodes.Status200OK, await JudgeAsync(call, asked, id));
    }

    private static async Task<IReadOnlyList<Issue>> JudgeAsync(Call call, Asked asked, string? id)
    {
        switch (asked.Mode)
        {
            case null or "create":
                break;
            case "update" or "delete" or "profile" when id is null:
                throw Impossible($"mode={asked.Mode} is about an existing resource; post to /fhir/<type>/<id>/$validate.", "mode");
            case "delete":
                await call.Need<Reads>().CurrentAsync(call.Type, id, call.Ct);
                return [Fine($"{call.Type}/{id} may be deleted.")];
            case "update" or "profile":
                break;
            default:
                throw Impossible($"mode is '{asked.Mode}'; it can be create, update, delete or profile.", "mode");
        }

        var resource = asked.Resource;
        if (resource is null && id is not null && asked.Mode == "profile")
            resource = ResourceReader.Trusted<Resource>((await call.Need<Reads>().CurrentAsync(call.Type, id, call.Ct)).Json);
        if (resource is null)
            throw Impossible("There is no resource to validate. Send it as the body, or as parameter 'resource' of a Parameters resource.", "Parameters.parameter");
        if (call.Type.Length > 0 && resource.TypeName != call.Type)
            throw Impossible($"The address names {call.Type}, the resource is a {resource.TypeName}.", resource.TypeName);

        if (asked.Profile is { } profile && call.Need<DefinitionsPack>().EntryOf(profile) is not { Type: "StructureDefinition" })
            throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.NotFound, $"The profile {profile} is not known here; /fhir/metadata lists those that are.", "profile");

        List<Issue> issues = [];
        if (asked.Mode == "update" && resource.Id != id)
            issues.Add(Issue.Error(OperationOutcome.IssueType.Invalid, $"An update of {call.Type}/{id} carries id '{resource.Id}'; they must be the same.", $"{call.Type}.id"));
        issues.AddRange(await call.Need<ResourceValidator>().ValidateAsync(resource, asked.Profile, call.Ct));
        return issues.Count > 0 ? issues : [Fine(asked.Profile is null ? "No issues were found." : $"No issues were found against {asked.Profile}.")];
    }

    private static Issue Fine(string message) => new(OperationOutcome.IssueSeverity.Information, OperationOutcome.IssueType.Informational, message);

    private static RefusedException Impossible(string message, string expression) =>
        new(Refusal.Malformed, OperationOutcome.IssueType.Invalid, message, expression);

    private sealed record Asked(Resource? Resource, string? Mode, string? Profile)
    {
        public static Asked Of(Call call, Resource body)
        {
            var query = call.Query();
            var mode = query.Find(q => q.Key == "mode").Value;
            var profile = query.Find(q => q.Key == "profile").Value;
            if (body is not Parameters parameters)
                return new Asked(body, mode, profile);
            foreach (var parameter in parameters.Parameter)
            {
                if (parameter.Name is not ("resource" or "mode" or "profile"))
                    throw Impossible($"Parameter '{parameter.Name}' is not known; use resource, mode and profile.", "Parameters.parameter.name");
            }
            return new Asked(
                parameters.Parameter.Find(p => p.Name == "resource")?.Resource,
                (parameters.Parameter.Find(p => p.Name == "mode")?.Value as PrimitiveType)?.ToString() ?? mode,
                (parameters.Parameter.Find(p => p.Name == "profile")?.Value as PrimitiveType)?.ToString() ?? profile);
        }
    }
}
