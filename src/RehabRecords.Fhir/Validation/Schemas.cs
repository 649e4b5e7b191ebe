using System.Collections.Concurrent;
using Firely.Fhir.Validation;
using Firely.Fhir.Validation.Compilation;
using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Navigation;
using RehabRecords.Fhir.Definitions;
using Canonical = Firely.Fhir.Validation.Canonical;

#pragma warning disable ExperimentalApi // The library offers no other way to make its schemas.

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// The schemas of the profile validator, each made once from a definition of the pack and then only read. The library's own
/// maker corrects a definition each time it looks at it, and every string depends on one of those: two requests that met a type for
/// the first time at the same moment could find it half corrected. Here definitions come corrected from the pack and stay as they are.
/// </summary>
internal sealed class Schemas : IElementSchemaResolver
{
    private readonly DefinitionsPack _pack;
    private readonly SchemaBuilder _builder;
    private readonly SystemNamespaceElementSchemaResolver _system = new();

    // By the definition and not by its address, so that no sender can make it grow.
    private readonly ConcurrentDictionary<PackEntry, Lazy<ElementSchema?>> _made = new(ReferenceEqualityComparer.Instance);

    public Schemas(DefinitionsPack pack)
    {
        _pack = pack;
        _builder = new SchemaBuilder(pack, [new StandardBuilders(pack)]);
    }

    public ElementSchema? GetSchema(Canonical schemaUri)
    {
        if (_pack.EntryOf((string)schemaUri) is not { } entry)
            return _system.GetSchema(schemaUri);
        var made = _made.GetOrAdd(entry, static (e, schemas) => new Lazy<ElementSchema?>(() => schemas.Make(e)), this);
        try
        {
            return made.Value;
        }
#pragma warning disable CA1031 // As the library does: whatever is wrong with a definition is told as one kind of exception.
        catch (Exception e) when (e is not OutOfMemoryException)
#pragma warning restore CA1031
        {
            // Not kept: what failed for want of a file or memory may go well the next time.
            _made.TryRemove(new(entry, made));
            throw new SchemaResolutionFailedException($"Encountered an error while loading schema '{schemaUri}': {e.Message}", schemaUri, e);
        }
    }

    private ElementSchema? Make(PackEntry entry)
    {
        if (_pack.Find(entry) is not StructureDefinition definition)
            return null;
        return _builder.Build(ElementDefinitionNavigator.ForSnapshot(definition)).SingleOrDefault() is ElementSchema schema ? (ElementSchema)Quicker(schema) : null;
    }

    /// <summary>The same schema with bindings that remember which codes they have found good, and invariants that are not asked where they plainly hold.</summary>
    private static IAssertion Quicker(IAssertion assertion) => assertion switch
    {
        BindingValidator binding => new RememberedBinding(binding),
        FhirPathValidator invariant => QuickInvariant.Of(invariant),
        SliceValidator slices => UrlCondition.In(slices, Quicker),
        IAssertionContainer container => container.WithChildren((_, child) => Quicker(child)),
        _ => assertion,
    };
}
