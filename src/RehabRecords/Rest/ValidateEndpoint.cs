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
        Resource? body;
        try
        {
            // A deletion, and a look at a stored resource, need no body.
            body = call.Http.Request.ContentLength is 0 or null && call.Http.Request.Headers.TransferEncoding.Count == 0 && id is not null ? null : await call.ReadBodyAsync();
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
        if (asked.Mode is not (null or "create" or "update" or "delete" or "profile"))
            throw Impossible($"mode is '{asked.Mode}'; it can be create, update, delete or profile.", "mode");
        if (asked.Mode is "update" or "delete" or "profile" && id is null)
            throw Impossible($"mode={asked.Mode} is about an existing resource; post to /fhir/<type>/<id>/$validate.", "mode");
        if (asked.Mode == "profile" && asked.Profile is null)
            throw Impossible("mode=profile checks an existing resource against a profile; name it with the parameter profile.", "profile");
        if (asked.Profile is { } profile && call.Need<DefinitionsPack>().EntryOf(profile) is not { Type: "StructureDefinition" })
            throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.NotFound, call.Need<DefinitionsPack>().Unknown(profile), "profile");

        var current = asked.Mode is "update" or "delete" or "profile" ? await call.Need<Reads>().CurrentAsync(call.Type, id!, call.Ct) : null;
        if (asked.Mode == "delete")
            return OrFine(await Trial.DeleteAsync(call, current!), $"{call.Type}/{id} may be deleted.");
        var resource = asked.Resource ?? (asked.Mode == "profile" ? ResourceReader.Trusted<Resource>(current!.Json) : null)
            ?? throw Impossible("There is no resource to validate. Send it as the body, or as parameter 'resource' of a Parameters resource.", "Parameters.parameter");
        if (call.Type.Length > 0 && resource.TypeName != call.Type)
            throw Impossible($"The address names {call.Type}, the resource is a {resource.TypeName}.", resource.TypeName);

        List<Issue> issues = [.. await call.Need<ResourceValidator>().ValidateAsync(resource, asked.Profile, call.Ct)];
        if (asked.Mode == "create")
            issues.AddRange(await Trial.CreateAsync(call, resource));
        else if (asked.Mode == "update")
            issues.AddRange(await Trial.UpdateAsync(call, resource, current!));
        return OrFine([.. issues.Distinct()], asked.Profile is null ? "No issues were found." : $"No issues were found against {asked.Profile}.");
    }

    private static IReadOnlyList<Issue> OrFine(IReadOnlyList<Issue> issues, string fine) => issues.Count > 0 ? issues : [Fine(fine)];

    private static Issue Fine(string message) => new(OperationOutcome.IssueSeverity.Information, OperationOutcome.IssueType.Informational, message);

    private static RefusedException Impossible(string message, string expression) =>
        new(Refusal.Malformed, OperationOutcome.IssueType.Invalid, message, expression);

    private sealed record Asked(Resource? Resource, string? Mode, string? Profile)
    {
        public static Asked Of(Call call, Resource? body)
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
