namespace RehabRecords.Fhir;

/// <summary>What may be done with a resource type over REST.</summary>
[Flags]
public enum Interactions
{
    None = 0,
    Read = 1,
    VersionRead = 2,
    History = 4,
    Search = 8,
    Create = 16,
    Update = 32,
    Delete = 64,

    /// <summary>JSON Patch and FHIRPath Patch, by id or by condition.</summary>
    Patch = 128,

    /// <summary>The versions of all resources of the type; <c>/_history</c> has those of every type that offers this.</summary>
    TypeHistory = 256,

    /// <summary><c>PUT /type?condition</c>.</summary>
    ConditionalUpdate = 512,

    /// <summary><c>DELETE /type?condition</c>, of at most one match.</summary>
    ConditionalDelete = 1024,
    ReadOnly = Read | VersionRead | History | TypeHistory | Search,
    All = ReadOnly | Create | Update | Delete | Patch | ConditionalUpdate | ConditionalDelete,
}

/// <param name="Type">The resource type, as FHIR spells it.</param>
/// <param name="Interactions">What is offered.</param>
/// <param name="Purpose">What the record keeps in it; shown in the CapabilityStatement.</param>
public sealed record ResourceKind(string Type, Interactions Interactions, string Purpose)
{
    public bool Offers(Interactions interaction) => (Interactions & interaction) == interaction;
}

/// <summary>
/// The one list of resource types of the record. Routes, the search index and the CapabilityStatement are made from
/// it, so none of them can promise what another does not keep.
/// </summary>
public sealed class ResourceRegistry
{
    private readonly Dictionary<string, ResourceKind> _byType;

    public ResourceRegistry(IReadOnlyList<ResourceKind> kinds)
    {
        Kinds = kinds;
        _byType = kinds.ToDictionary(k => k.Type, StringComparer.Ordinal);
    }

    public static ResourceRegistry Standard { get; } = new(
    [
        new("Patient", Interactions.All, "The person who practises."),
        new("RelatedPerson", Interactions.All, "A carer or family member of one person."),
        new("Practitioner", Interactions.All, "A clinician or support worker."),
        new("PractitionerRole", Interactions.All, "What a clinician does, where."),
        new("Organization", Interactions.All, "A clinic, trust or community team."),
        new("CareTeam", Interactions.All, "Who looks after a person."),
        new("EpisodeOfCare", Interactions.All, "The span of rehabilitation, from referral to discharge."),
        new("ActivityDefinition", Interactions.All, "An exercise of the library."),
        new("PlanDefinition", Interactions.All, "A graded programme template."),
        new("CarePlan", Interactions.All, "A person's programme."),
        new("ServiceRequest", Interactions.All, "A prescribed exercise, or a referral."),
        new("Procedure", Interactions.All, "A session that was done or missed."),
        new("Observation", Interactions.All, "A result of an exercise, an outcome measure, a summary."),
        new("Goal", Interactions.All, "A goal with its attainment levels."),
        new("Communication", Interactions.All, "A briefing, or what was told to whom."),
        new("Task", Interactions.All, "An acknowledgement or other piece of work to be done."),
        new("Flag", Interactions.All, "A precaution or a finding that needs eyes."),
        new("AdverseEvent", Interactions.All, "Something that went wrong or nearly did."),
        new("Consent", Interactions.All, "What a person agreed to share."),
        new("Composition", Interactions.All, "A note or summary."),
        // What was put together and perhaps signed as one is replaced as one, never patched in pieces.
        new("Bundle", Interactions.All & ~Interactions.Patch, "A frozen document or exchange."),
        new("DocumentReference", Interactions.All, "A paper or file kept with the record."),
        new("Binary", Interactions.Read | Interactions.VersionRead | Interactions.History | Interactions.TypeHistory | Interactions.Create | Interactions.Delete, "The bytes of a file."),
        new("Provenance", Interactions.All, "Where a resource came from."),
        new("AuditEvent", Interactions.ReadOnly, "Who did what; written by the service alone."),
        new("Device", Interactions.All, "The software that drafts, or equipment in use."),
        new("QuestionnaireResponse", Interactions.All, "Answers to a questionnaire."),
    ]);

    public IReadOnlyList<ResourceKind> Kinds { get; }

    public bool Has(string type) => _byType.ContainsKey(type);

    public ResourceKind? Find(string type) => _byType.GetValueOrDefault(type);
}
