using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Rest;
using RehabRecords.Rest.Operations;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Exchange;

/// <summary>The same two steps for those who speak FHIR: CarePlan/[id]/$hand-over and $take-in.</summary>
internal static class ExchangeOperations
{
    public static readonly Operation HandOver = new("hand-over", $"{Canonical.Base}/OperationDefinition/hand-over", Level.Instance, HandOverAsync)
    {
        Types = ["CarePlan"],
        Documentation = "Only with the person's consent to share with the recipient; audited.",
    };

    public static readonly Operation TakeIn = new("take-in", $"{Canonical.Base}/OperationDefinition/take-in", Level.System, TakeInAsync)
    {
        Methods = ["POST"],
        TakesBundle = true,
        Documentation = "Takes the Bundle itself, or Parameters with exchange, person and check.",
    };

    private static async Task<IResult> HandOverAsync(Call call)
    {
        var given = await Arguments.ReadAsync(call, "recipient", "results");
        var bundle = await call.Need<HandOver>().RunAsync(call.Id, given.Once("recipient"), given.Truth("results") ?? true, ExchangeEndpoints.Caller(call.Http), call.Ct);
        return new WholeResult(call, bundle);
    }

    private static async Task<IResult> TakeInAsync(Call call)
    {
        call.RefuseOtherQueryThan();
        var format = Negotiation.Sent(call.Http.Request);
        using var held = new MemoryStream();
        await call.Http.Request.Body.CopyToAsync(held, call.Ct);
        var bytes = held.ToArray();
        var body = ResourceReader.Read(bytes, format);
        var parameters = body as Parameters;
        var bundle = body as Bundle ?? parameters?.Parameter.FirstOrDefault(p => p.Name == "exchange")?.Resource as Bundle
            ?? throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Required, "There is no Bundle: send it as the body, or as the parameter exchange of Parameters.", body.TypeName);
        var arrival = parameters is null
            ? new Arrival(bytes, format == FhirFormat.Xml ? Negotiation.Xml : Negotiation.Json, bundle)
            : new Arrival(ResourceWriter.Json(bundle), Negotiation.Json, bundle);
        var person = parameters?.Parameter.FirstOrDefault(p => p.Name == "person")?.Value?.ToString();
        var check = parameters?.Parameter.FirstOrDefault(p => p.Name == "check")?.Value is FhirBoolean { Value: true };
        return new WholeResult(call, Said(await call.Need<TakeIn>().RunAsync(arrival, person, check, ExchangeEndpoints.Caller(call.Http), call.Ct)));
    }

    private static Parameters Said(ImportAnswer answer)
    {
        var said = new Parameters();
        said.Add("outcome", new Code(answer.Outcome));
        said.Add("person", new ResourceReference(answer.Person));
        foreach (var (name, lines) in new[] { ("created", answer.Created), ("updated", answer.Updated), ("unchanged", answer.Unchanged) })
            foreach (var line in lines)
                said.Add(name, new ResourceReference(line.Resource));
        foreach (var conflict in answer.Conflicts)
            said.Add("conflict", new ResourceReference(conflict.Resource));
        foreach (var waiting in answer.Waiting)
            said.Add("waiting", new FhirUri(waiting.From));
        if (answer.Task is { } task)
            said.Add("task", new ResourceReference(task));
        if (answer.Provenance is { } provenance)
            said.Add("provenance", new ResourceReference(provenance));
        return said;
    }
}
