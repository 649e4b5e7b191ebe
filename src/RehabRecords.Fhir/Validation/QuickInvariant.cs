using Firely.Fhir.Validation;
using Hl7.Fhir.Model;

#pragma warning disable ExperimentalApi // See Schemas.

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// An invariant of R4 that plainly holds for nearly every element: what it speaks of is not there. Then the FHIRPath engine is not asked;
/// in every other case it is, and it alone ever finds an invariant broken.
/// </summary>
internal sealed record QuickInvariant : FhirPathValidator, IValidatable
{
    /// <summary>When an expression surely holds. By its text: a profile that uses the same key for another rule is not mistaken.</summary>
    private static readonly Dictionary<string, Func<Base, bool>> Surely = new(StringComparer.Ordinal)
    {
        // dom-2 to dom-5
        ["contained.contained.empty()"] = ContainsNothing,
        ["contained.where((('#'+id in (%resource.descendants().reference | %resource.descendants().as(canonical) | %resource.descendants().as(uri) | %resource.descendants().as(url))) or descendants().where(reference = '#').exists() or descendants().where(as(canonical) = '#').exists() or descendants().where(as(canonical) = '#').exists()).not()).trace('unmatched', id).empty()"] = ContainsNothing,
        ["contained.meta.versionId.empty() and contained.meta.lastUpdated.empty()"] = ContainsNothing,
        ["contained.meta.security.empty()"] = ContainsNothing,
        // ref-1, as the library corrects it
        ["reference.exists() implies (reference.startsWith('#').not() or (reference.substring(1).trace('url') in %rootResource.contained.id.trace('ids')) or (reference='#' and %rootResource!=%resource))"] =
            b => b is ResourceReference { Reference: { Length: > 0 } to } && to[0] != '#',
        // per-1, qty-3, att-1, cpt-2
        ["start.hasValue().not() or end.hasValue().not() or (start <= end)"] = b => b is Period p && (p.StartElement is null || p.EndElement is null),
        ["code.empty() or system.exists()"] = b => b is Quantity q && (q.CodeElement is null || q.SystemElement?.Value is not null),
        ["data.empty() or contentType.exists()"] = b => b is Attachment a && (a.DataElement is null || a.ContentTypeElement?.Value is not null),
        ["value.empty() or system.exists()"] = b => b is ContactPoint c && (c.ValueElement is null || c.SystemElement?.Value is not null),
        // obs-6, obs-7
        ["dataAbsentReason.empty() or value.empty()"] = b => b is Observation o && (o.DataAbsentReason is null || o.Value is null),
        ["value.empty() or component.code.where(coding.intersect(%resource.code.coding).exists()).empty()"] = b => b is Observation o && (o.Value is null || o.Component.Count == 0),
        // prr-1, cpl-3, inv-1
        ["orderDetail.empty() or code.exists()"] = b => b is ServiceRequest { OrderDetail.Count: 0 },
        ["detail.empty() or reference.empty()"] = b => b is CarePlan.ActivityComponent a && (a.Detail is null || a.Reference is null),
        ["lastModified.exists().not() or authoredOn.exists().not() or lastModified >= authoredOn"] = b => b is Hl7.Fhir.Model.Task t && (t.LastModifiedElement is null || t.AuthoredOnElement is null),
        // cmp-1, cmp-2
        ["text.exists() or entry.exists() or section.exists()"] = b => b is Composition.SectionComponent { Text.Div: not null },
        ["emptyReason.empty() or entry.empty()"] = b => b is Composition.SectionComponent s && (s.EmptyReason is null || s.Entry.Count == 0),
        // sev-1
        ["name.empty() or query.empty()"] = b => b is AuditEvent.EntityComponent e && (e.NameElement is null || e.QueryElement is null),
        // tim-1 to tim-10
        ["duration.empty() or durationUnit.exists()"] = Repeat(r => r.DurationElement is null || r.DurationUnit is not null),
        ["period.empty() or periodUnit.exists()"] = Repeat(r => r.PeriodElement is null || r.PeriodUnit is not null),
        ["duration.exists() implies duration >= 0"] = Repeat(r => r.DurationElement is null || r.Duration >= 0),
        ["period.exists() implies period >= 0"] = Repeat(r => r.PeriodElement is null || r.Period >= 0),
        ["periodMax.empty() or period.exists()"] = Repeat(r => r.PeriodMaxElement is null || r.Period is not null),
        ["durationMax.empty() or duration.exists()"] = Repeat(r => r.DurationMaxElement is null || r.Duration is not null),
        ["countMax.empty() or count.exists()"] = Repeat(r => r.CountMaxElement is null || r.Count is not null),
        ["offset.empty() or (when.exists() and ((when in ('C' | 'CM' | 'CD' | 'CV')).not()))"] = Repeat(r => r.OffsetElement is null),
        ["timeOfDay.empty() or when.empty()"] = Repeat(r => r.TimeOfDayElement.Count == 0 || r.WhenElement.Count == 0),
    };

    private readonly IValidatable _asked;
    private readonly Func<Base, bool> _surely;

    private QuickInvariant(FhirPathValidator asked, Func<Base, bool> surely)
        : base(asked) => (_asked, _surely) = (asked, surely);

    /// <summary>The expressions it knows.</summary>
    public static IReadOnlyCollection<string> Expressions => Surely.Keys;

    public static bool SurelyHolds(string expression, Base element) => Surely.GetValueOrDefault(expression) is { } surely && surely(element);

    public static FhirPathValidator Of(FhirPathValidator asked) =>
        Surely.GetValueOrDefault(asked.Expression) is { } surely ? new QuickInvariant(asked, surely) : asked;

    ResultReport IValidatable.Validate(PocoNode input, ValidationSettings vc, ValidationState state) =>
        _surely(input.Poco) ? ResultReport.SUCCESS : _asked.Validate(input, vc, state);

    private static bool ContainsNothing(Base resource) => resource is DomainResource { Contained.Count: 0 };

    private static Func<Base, bool> Repeat(Func<Timing.RepeatComponent, bool> surely) => b => b is Timing.RepeatComponent repeat && surely(repeat);
}
