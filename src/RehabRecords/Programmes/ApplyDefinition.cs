using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.People;
using RehabRecords.Progress;
using RehabRecords.Rest;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Programmes;

/// <summary>
/// $apply: what a template or an exercise of the library comes to for one person. The answer is a proposal with
/// everything in it; nothing is stored, and nothing is a programme before a clinician prescribes it.
/// </summary>
internal static class ApplyDefinition
{
    private static readonly string[] Known = ["subject", "practitioner", "organization"];

    private const string Spoken = "Answers a proposal and stores nothing. subject is one Patient of this service. encounter, userType, userLanguage, userTaskContext, setting and settingContext are refused, as nothing here depends on them; "
        + "conditions are passed on and not evaluated.";

    public static Operation OfTemplate { get; } =
        new("apply", "http://hl7.org/fhir/OperationDefinition/PlanDefinition-apply", Level.Instance, TemplateAsync) { Types = ["PlanDefinition"], Documentation = Spoken };

    public static Operation OfExercise { get; } =
        new("apply", "http://hl7.org/fhir/OperationDefinition/ActivityDefinition-apply", Level.Instance, ExerciseAsync) { Types = ["ActivityDefinition"], Documentation = Spoken };

    private static async Task<IResult> TemplateAsync(Call call)
    {
        var arguments = await Arguments.ReadAsync(call, Known);
        var template = ResourceReader.Trusted<PlanDefinition>((await call.Need<Reads>().CurrentAsync("PlanDefinition", call.Id, call.Ct)).Json);
        var proposal = await AppliedTemplate.OfAsync(template, await ForAsync(call, arguments), call.Ct);
        return new BodyResult(call, ResourceWriter.Json(proposal));
    }

    private static async Task<IResult> ExerciseAsync(Call call)
    {
        var arguments = await Arguments.ReadAsync(call, Known);
        var exercise = ResourceReader.Trusted<ActivityDefinition>((await call.Need<Reads>().CurrentAsync("ActivityDefinition", call.Id, call.Ct)).Json);
        return new BodyResult(call, ResourceWriter.Json((await ForAsync(call, arguments)).Request(exercise, null)));
    }

    private static async Task<ApplyFor> ForAsync(Call call, Arguments arguments)
    {
        var store = call.Need<RecordStore>();
        var subject = arguments.Once("subject") ?? throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Required,
            "subject is missing; name the person, such as subject=Patient/[id].", "subject");
        var person = await NamedAsync<Patient>(store, "subject", subject, call.Ct);
        var precautions = PrecautionMapping.Of(await store.FindAllAsync<Flag>($"subject=Patient/{person.Id}", call.Ct));
        var practitioner = arguments.Once("practitioner") is { } by ? await NamedAsync<Practitioner>(store, "practitioner", by, call.Ct) : null;
        var organization = arguments.Once("organization") is { } at ? await NamedAsync<Organization>(store, "organization", at, call.Ct) : null;
        return new ApplyFor(store, person, precautions, practitioner, organization, call.Need<TimeProvider>().GetUtcNow());
    }

    private static async Task<T> NamedAsync<T>(RecordStore store, string parameter, string reference, CancellationToken ct)
        where T : Resource
    {
        var type = ModelInfo.GetFhirTypeNameForType(typeof(T))!;
        var id = reference.StartsWith(type + "/", StringComparison.Ordinal) ? reference[(type.Length + 1)..] : reference;
        return await store.GetAsync<T>(id, ct) is { } found
            ? found.Resource
            : throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.NotFound, $"{parameter} is '{reference}', which is not a {type} of this service; give {type}/[id].", parameter);
    }
}

/// <summary>The person for whom a definition is applied, and who applies it.</summary>
internal sealed record ApplyFor(
    RecordStore Store, Patient Person, IReadOnlyList<PersonPrecaution> Precautions, Practitioner? Practitioner, Organization? Organization, DateTimeOffset Now)
{
    public ResourceReference Subject => new($"Patient/{Person.Id}");

    public ResourceReference? By => Practitioner is null ? null : new ResourceReference($"Practitioner/{Practitioner.Id}");

    /// <param name="dosage">What the template's level says of the exercise, over the exercise's own.</param>
    public ServiceRequest Request(ActivityDefinition exercise, Library.DosageRequest? dosage)
    {
        if (exercise.Kind is not (null or ActivityDefinition.RequestResourceType.ServiceRequest))
            throw Unoffered($"ActivityDefinition.kind of {exercise.Title ?? exercise.Url} is {exercise.Kind}; only ServiceRequest is offered.", "ActivityDefinition.kind");
        if (exercise.DynamicValue.Count > 0)
            throw Unoffered($"{exercise.Title ?? exercise.Url} has dynamic values, which are not worked out here.", "ActivityDefinition.dynamicValue");
        var side = Person.AffectedSide() is { } affected and not "none" ? affected : "";
        return Prescribed.Of(exercise, dosage, new PrescriptionRequest { Side = side }, Precautions).ToProposal(Subject, By, Now);
    }

    public static RefusedException Unoffered(string message, string expression) => new(Refusal.Invalid, OperationOutcome.IssueType.NotSupported, message, expression);
}
