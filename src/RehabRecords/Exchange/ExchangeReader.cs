using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;
using RehabRecords.Progress;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>Gathers what a programme needs to be carried on elsewhere, and whatever that refers to.</summary>
internal sealed class ExchangeReader(RecordStore store)
{
    /// <summary>More than a long course of rehabilitation has; beyond it something is wrong.</summary>
    private const int MostResources = 10_000;

    private const int AddressesAtOnce = 40;

    /// <summary>Documents and files go their own ways; who looked at what is nobody's but ours.</summary>
    private static readonly HashSet<string> StaysHere = ["Composition", "Bundle", "Binary", "DocumentReference", "AuditEvent"];

    /// <param name="results">With sessions, results, harm and every measure; otherwise only the first and the latest of each measure.</param>
    /// <exception cref="RefusedException">NotFound; Conflict when the programme's record is mixed with another person's.</exception>
    public async Task<ExchangeContent> ReadAsync(string id, bool results, CancellationToken ct)
    {
        var (plan, _) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        var person = plan.Subject.IdOf("Patient") ?? throw new FormatException($"{plan.Evidence()} names no person.");
        var (patient, _) = await store.NamedAsync<Patient>("programme", person, "person", ct);
        var content = new ExchangeContent(plan, patient);
        content.Add(plan);
        content.Add(patient);

        await AddAsync<ServiceRequest>($"based-on=CarePlan/{id}", _ => true);
        await AddAsync<FhirTask>($"based-on=CarePlan/{id}", _ => true);
        await AddAsync<Communication>($"subject=Patient/{person}", c => c.About.Exists(a => a.IdOf("CarePlan") == id));
        await AddAsync<Flag>($"subject=Patient/{person}", _ => true);
        await AddAsync<RelatedPerson>($"patient=Patient/{person}", _ => true);
        await AddAsync<CareTeam>($"subject=Patient/{person}", _ => true);
        var observations = await store.FindAllAsync<Observation>($"subject=Patient/{person}", ct);
        foreach (var measure in results ? observations.Where(ExchangeContent.IsMeasure) : FirstAndLatest(observations))
            content.Add(measure);
        if (results)
        {
            await AddAsync<Procedure>($"based-on=CarePlan/{id}", _ => true);
            foreach (var result in observations.Where(o => o.PartOf.Exists(p => p.IdOf("Procedure") is { } session && content.Holds($"Procedure/{session}"))))
                content.Add(result);
            await AddAsync<AdverseEvent>($"subject=Patient/{person}", h => h.SuspectEntity.Exists(s => s.Instance.IdOf("Procedure") is { } session && content.Holds($"Procedure/{session}")));
        }

        await AddLibraryAsync(content, ct);
        await FollowAsync(content, ct);
        await AddProvenanceAsync(content, ct);
        await FollowAsync(content, ct);
        if (content.Of<Patient>().FirstOrDefault(p => p.Id != person) is { } other)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule,
                $"What belongs to programme '{id}' refers to another person, Patient/{other.Id}; nothing is handed over. Correct the record first.", "id");
        return content;

        async System.Threading.Tasks.Task AddAsync<T>(string query, Func<T, bool> wanted)
            where T : Resource
        {
            foreach (var found in await store.FindAllAsync<T>(query, ct))
                if (wanted(found))
                    content.Add(found);
        }
    }

    private static IEnumerable<Observation> FirstAndLatest(IEnumerable<Observation> observations) =>
        observations.Where(ExchangeContent.IsMeasure).GroupBy(ExchangeContent.Series).SelectMany(series =>
        {
            var ordered = series.OrderBy(ExchangeContent.MeasuredAt, StringComparer.Ordinal).ToList();
            return ordered.Count == 1 ? ordered : [ordered[0], ordered[^1]];
        });

    /// <summary>By the versions that are pinned: the template, its exercises on every level, and those prescribed besides.</summary>
    private async System.Threading.Tasks.Task AddLibraryAsync(ExchangeContent content, CancellationToken ct)
    {
        var wanted = new Queue<string>(content.Of<CarePlan>().SelectMany(p => p.InstantiatesCanonical).Concat(content.Of<ServiceRequest>().SelectMany(r => r.InstantiatesCanonical)).OfType<string>());
        var asked = new HashSet<string>(StringComparer.Ordinal);
        while (wanted.TryDequeue(out var canonical))
        {
            if (!asked.Add(canonical) || canonical.Split('|') is not [var url, var version])
                continue;
            var query = $"url={Uri.EscapeDataString(url)}&version={Uri.EscapeDataString(version)}";
            foreach (var exercise in await store.FindAllAsync<ActivityDefinition>(query, ct))
                content.Add(exercise);
            foreach (var template in await store.FindAllAsync<PlanDefinition>(query, ct))
                if (content.Add(template))
                    Definitions(template.Action).ToList().ForEach(wanted.Enqueue);
        }
    }

    private static IEnumerable<string> Definitions(IEnumerable<PlanDefinition.ActionComponent> actions) =>
        actions.SelectMany(a => Definitions(a.Action).Concat(a.Definition is Hl7.Fhir.Model.Canonical { Value: { } named } ? [named] : []));

    /// <summary>Whatever is referred to goes along; a version that is cited exactly goes along in that version.</summary>
    private async System.Threading.Tasks.Task FollowAsync(ExchangeContent content, CancellationToken ct)
    {
        var waiting = new Queue<Resource>(content.Everything);
        while (waiting.TryDequeue(out var from))
            foreach (var reference in References.In(from))
            {
                var to = LiteralReference.Of(reference.Reference!);
                if (!to.IsLocal || StaysHere.Contains(to.Type!) || to.Type == "Provenance")
                    continue;
                if (!content.Holds(to.Unversioned) && await store.ReadAsync(to.Type!, to.Id!, ct) is { Deleted: false } found)
                    Add(found, content.Add);
                if (to.Version is { } version && !content.HoldsVersion(to.Unversioned, version)
                    && int.TryParse(version, out var number) && await store.ReadVersionAsync(to.Type!, to.Id!, number, ct) is { Deleted: false } earlier)
                    Add(earlier, content.AddEarlier);
            }

        void Add(RecordVersion found, Func<Resource, bool> add)
        {
            var resource = ResourceReader.Trusted<Resource>(found.Json);
            if (resource is Observation observation && ExchangeContent.IsWorkedOut(observation))
                return;
            if (add(resource))
                waiting.Enqueue(resource);
            if (content.Count > MostResources)
                throw new RefusedException(Refusal.TooLarge, OperationOutcome.IssueType.TooCostly, $"More than {MostResources} resources belong to the programme; hand it over without results (results=false).", "id");
        }
    }

    private async System.Threading.Tasks.Task AddProvenanceAsync(ExchangeContent content, CancellationToken ct)
    {
        foreach (var some in content.Current.Select(r => $"{r.TypeName}/{r.Id}").Order(StringComparer.Ordinal).Chunk(AddressesAtOnce).ToList())
            foreach (var provenance in await store.FindAllAsync<Provenance>($"target={string.Join(',', some)}", ct))
                if (!ImportProvenance.IsOne(provenance))
                    content.Add(provenance);
    }
}
