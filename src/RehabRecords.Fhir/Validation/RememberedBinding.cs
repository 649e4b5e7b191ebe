using System.Collections.Concurrent;
using Firely.Fhir.Validation;
using Hl7.Fhir.Model;
using Newtonsoft.Json.Linq;

#pragma warning disable ExperimentalApi // See Schemas.

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// A binding that looks a code up once. The library copies each code three times and hands it to another thread to be looked up in a
/// list; the same few codes come in every resource. Only what was good without a word is remembered, so that nothing else is said
/// than without it.
/// </summary>
internal sealed class RememberedBinding(BindingValidator binding) : IValidatable
{
    /// <summary>A display is free text, so there is no end to codes with one.</summary>
    private const int Most = 2_000;

    private readonly ConcurrentDictionary<(string? System, string Code, string? Version, string? Display), byte> _good = new();

    public ResultReport Validate(PocoNode input, ValidationSettings vc, ValidationState state)
    {
        var key = Key(input.Poco);
        if (key is { } known && _good.ContainsKey(known))
            return ResultReport.SUCCESS;
        var report = ((IValidatable)binding).Validate(input, vc, state);
        if (key is { } good && report is { IsSuccessful: true, Evidence.Count: 0 } && _good.Count < Most)
            _good.TryAdd(good, 0);
        return report;
    }

    public JToken ToJson() => binding.ToJson();

    // Of a concept the first code alone decides when it is good; otherwise the library looks at all.
    private static (string?, string, string?, string?)? Key(Base bound) => bound switch
    {
        CodeableConcept { Coding: [{ } first, ..] } => Key(first),
        Coding { Code: { Length: > 0 } code } coding => (coding.System, code, coding.Version, coding.Display),
        PrimitiveType { JsonValue: string { Length: > 0 } code } => (null, code, null, null),
        _ => null,
    };
}
