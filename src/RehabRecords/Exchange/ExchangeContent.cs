using Hl7.Fhir.Model;
using RehabRecords.Progress;
using RehabRecords.Terms;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>All that goes along with one programme: each resource as it is now, and earlier versions that something cites exactly.</summary>
internal sealed class ExchangeContent(CarePlan programme, Patient person)
{
    private readonly Dictionary<string, Resource> _current = new(StringComparer.Ordinal);
    private readonly Dictionary<string, Resource> _earlier = new(StringComparer.Ordinal);

    public CarePlan Programme { get; } = programme;

    public Patient Person { get; } = person;

    public IEnumerable<Resource> Current => _current.Values;

    /// <summary>In an order that depends on nothing but what is held; the latest version first, since that is what a reference without version means.</summary>
    public IReadOnlyList<Resource> Everything =>
        [.. _current.Values.Concat(_earlier.Values).OrderBy(r => r.TypeName, StringComparer.Ordinal).ThenBy(r => r.Id, StringComparer.Ordinal)
            .ThenByDescending(r => int.Parse(r.Meta!.VersionId!, System.Globalization.CultureInfo.InvariantCulture))];

    public int Count => _current.Count + _earlier.Count;

    public IEnumerable<T> Of<T>()
        where T : Resource => _current.Values.OfType<T>();

    public bool Holds(string address) => _current.ContainsKey(address);

    public bool Add(Resource resource) => _current.TryAdd($"{resource.TypeName}/{resource.Id}", resource);

    public bool HoldsVersion(string address, string version) =>
        (_current.TryGetValue(address, out var now) && now.Meta?.VersionId == version) || _earlier.ContainsKey($"{address}/{version}");

    public bool AddEarlier(Resource resource) => _earlier.TryAdd($"{resource.TypeName}/{resource.Id}/{resource.Meta!.VersionId}", resource);

    /// <summary>The prescriptions as the therapist listed them.</summary>
    public IReadOnlyList<ServiceRequest> Prescriptions =>
        [.. Programmes.ProgrammeEndpoints.InOrderOfPlan(Programme, Of<ServiceRequest>().Where(r => r.BasedOn.Exists(b => b.IdOf("CarePlan") == Programme.Id)))];

    public IReadOnlyList<Observation> Measures => [.. Of<Observation>().Where(IsMeasure).OrderBy(MeasuredAt, StringComparer.Ordinal).ThenBy(o => o.Id, StringComparer.Ordinal)];

    public IReadOnlyList<Procedure> Sessions => [.. Of<Procedure>().OrderBy(p => Text(p.Performed), StringComparer.Ordinal).ThenBy(p => p.Id, StringComparer.Ordinal)];

    public IEnumerable<FhirTask> Decisions => Of<FhirTask>().Where(t => t.Code.CodeIn(Systems.Decision) is not null).OrderBy(t => t.AuthoredOn, StringComparer.Ordinal).ThenBy(t => t.Id, StringComparer.Ordinal);

    public static bool IsMeasure(Observation observation) => observation.Code.CodeIn(Systems.Measure) is not null;

    /// <summary>Each place that has summaries of its own works them out anew.</summary>
    public static bool IsWorkedOut(Observation observation) => observation.Code.CodeIn(Systems.AdherenceItem) is not null;

    /// <summary>What may be compared with itself over time: one measure, side, site and method.</summary>
    public static string Series(Observation measure) => string.Join('/',
        measure.Code.CodeIn(Systems.Measure), Sides.Of(measure.BodySite), measure.Method?.Text, measure.Focus.FirstOrDefault()?.Reference,
        measure.Component.FirstOrDefault(c => c.Code.CodeIn(Systems.Measure) == MeasureComponent.Site)?.Value is CodeableConcept site ? site.CodeIn(Systems.MeasureSite) : null);

    public static string MeasuredAt(Observation measure) => Text(measure.Effective);

    private static string Text(DataType? time) => time switch
    {
        FhirDateTime at => Sortable(at.Value),
        Period period => Sortable(period.Start),
        Instant at => Sortable(at.ToString()),
        _ => "",
    };

    private static string Sortable(string? time) =>
        Addresses.Instant(time) is { } at ? at.ToUniversalTime().ToString("O", System.Globalization.CultureInfo.InvariantCulture) : time ?? "";
}
