using System.Text.RegularExpressions;
using Firely.Fhir.Validation;
using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Terminology;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Validation.Checks;

#pragma warning disable ExperimentalApi // See Schemas.

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// Validates resources against R4, the profiles they claim, and what both leave open. One instance serves the whole
/// process: its schemas are costly to make. More threads than cores make it slower, so entry is gated.
/// </summary>
public sealed class ResourceValidator : IDisposable
{
    private readonly DefinitionsPack _pack;
    private readonly ValidationRules _rules;
    private readonly Validator _profiles;
    private readonly IReadOnlyList<IResourceCheck> _checks;
    private readonly SemaphoreSlim _gate = new(Environment.ProcessorCount);

    private ResourceValidator(DefinitionsPack pack, ValidationRules rules)
    {
        _pack = pack;
        _rules = rules;
        Targets = new ReferenceTargets(pack);
        var schemas = new Schemas(pack);
        _profiles = new Validator(pack, new LocalTerminologyService(pack), referenceResolver: null, new ValidationSettings
        {
            // Without it the library makes a table of all functions for each resource that has slices.
            FhirPathCompiler = FhirPathValidator.DefaultCompiler,
            // Unknown profiles and extensions are reported by checks of ours, which say what to do.
            SelectValidationProfiles = (_, claimed, _, _) => [.. claimed.Where(c => pack.EntryOf(c.ToString()) is { Type: "StructureDefinition" })],
            FollowExtensionUrl = (_, url) =>
                url is not null && pack.EntryOf(url.ToString()) is { Of: "Extension" } ? ExtensionUrlHandling.WarnIfMissing : ExtensionUrlHandling.DontResolve,
        }, schemas);
        _checks =
        [
            new ProfilesClaimedCheck(pack),
            new ExtensionsCheck(pack, rules.RefuseUnknownExtensions),
            new ReferenceTypesCheck(Targets),
            new BundleEntriesCheck(),
            new BundleReferencesCheck(),
            new DocumentCheck(),
            new ParametersReferencesCheck(),
            new OnePatientCheck(),
            new UnitsCheck(),
            new ListedCodesCheck(pack, rules.ListedLoinc),
            new NarrativeCheck(),
            new AttachmentsCheck(),
            new ConsentCheck(),
            .. rules.RefuseMarkupInText ? [new MarkupInTextCheck()] : Array.Empty<IResourceCheck>(),
        ];
    }

    /// <summary>Which types each reference element may point at.</summary>
    internal ReferenceTargets Targets { get; }

    public static ResourceValidator Create(DefinitionsPack pack, ValidationRules? rules = null)
    {
        ArgumentNullException.ThrowIfNull(pack);
        return new ResourceValidator(pack, rules ?? ValidationRules.Default);
    }

    /// <summary>
    /// As <see cref="Validate"/>, at most one for each core at a time. Those who wait hold no thread: the library blocks on
    /// tasks of its own, and waiting threads would keep those tasks from ever being run.
    /// </summary>
    public async Task<IReadOnlyList<Issue>> ValidateAsync(Resource resource, string? profile = null, CancellationToken ct = default)
    {
        var began = TimeProvider.System.GetTimestamp();
        await _gate.WaitAsync(ct);
        try
        {
            return Validate(resource, profile);
        }
        finally
        {
            _gate.Release();
            RecordMeter.Validation.Record(TimeProvider.System.GetElapsedTime(began).TotalSeconds);
        }
    }

    /// <summary>Everything found, in no particular order; empty or without errors when the resource is valid.</summary>
    /// <param name="resource">The resource; profiles it claims in meta.profile are always checked.</param>
    /// <param name="profile">A profile to check besides, whether claimed or not.</param>
    public IReadOnlyList<Issue> Validate(Resource resource, string? profile = null)
    {
        ArgumentNullException.ThrowIfNull(resource);
        var issues = new IssueList(_rules.MaxIssues);
        if (profile is not null && _pack.EntryOf(profile) is not { Type: "StructureDefinition" })
        {
            issues.Add(Issue.Error(OperationOutcome.IssueType.NotFound, _pack.Unknown(profile), resource.TypeName));
            return issues.Issues;
        }

        try
        {
            foreach (var issue in _profiles.Validate(resource, profile).Issue)
                issues.Add(FirelyIssue.ToIssue(issue));
        }
        catch (RegexMatchTimeoutException)
        {
            issues.Add(Issue.Error(
                OperationOutcome.IssueType.TooCostly, "A text takes too long to be checked against the pattern of its element. Shorten it.", resource.TypeName));
        }

#pragma warning disable CA1031 // The library throws exceptions of many kinds at values it did not foresee, such as a reference that is no address.
        catch (Exception e) when (e is not OutOfMemoryException)
#pragma warning restore CA1031
        {
            // What could not be checked is not kept; a check of ours usually says which element it was.
            issues.Add(Issue.Error(OperationOutcome.IssueType.Value, $"The resource holds a value that cannot be checked: {e.Message}", resource.TypeName));
        }

        var view = ResourceView.Of(resource);
        foreach (var check in _checks)
            check.Check(view, issues);
        return issues.Issues;
    }

    /// <summary>Makes the schemas of the types and profiles in use, so that the first requests need not wait for them.</summary>
    public void WarmUp()
    {
        foreach (var resource in WarmUpResources.Of(_pack))
            Validate(resource);
    }

    public void Dispose() => _gate.Dispose();
}
