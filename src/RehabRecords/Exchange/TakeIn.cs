using System.Security.Cryptography;
using Hl7.Fhir.Model;
using RehabRecords.Audit;
using RehabRecords.Briefings;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;
using RehabRecords.Host;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>What arrived: the bytes as they came, and what they say.</summary>
/// <param name="ContentType">Media type of the bytes.</param>
internal sealed record Arrival(ReadOnlyMemory<byte> Bytes, string ContentType, Bundle Bundle)
{
    /// <summary>The same bytes are kept once.</summary>
    public string Id => Origin.Named("exchange\n" + Convert.ToHexStringLower(SHA256.HashData(Bytes.Span)));
}

/// <summary>Takes in what another team sent: all of it is checked before any of it is stored, and then it is stored as one.</summary>
internal sealed class TakeIn(RecordStore store, RecordWriter writer, ResourceValidator validator, ProgressReader reader, UpToDate upToDate, Settings settings, TimeProvider clock)
{
    private const int Tries = 5;

    /// <param name="person">Who it is: an id of ours, or "new"; null lets the identifiers tell.</param>
    /// <param name="check">Only says what would become of it.</param>
    /// <param name="caller">The address of the caller's machine, for the audit.</param>
    /// <exception cref="RefusedException">Malformed, Invalid, Ambiguous (with the candidates) or Conflict; nothing was stored.</exception>
    public async Task<ImportAnswer> RunAsync(Arrival arrival, string? person, bool check, string caller, CancellationToken ct)
    {
        if (Verdict.Of(await validator.ValidateAsync(arrival.Bundle, ct: ct)) is { } refused)
            throw refused;
        return await AgainAsync(() => OnceAsync(arrival, person, Choice.None, check, caller, null, ct));
    }

    /// <summary>Takes in what waited, as a clinician decided.</summary>
    /// <exception cref="RefusedException">NotFound; Conflict when it is decided already, or when something was changed since the clinician read it.</exception>
    public async Task<ImportAnswer> DecideAsync(string taskId, ResolutionRequest request, CancellationToken ct) => await AgainAsync(async () =>
    {
        var (task, version, arrival) = await AskedAsync(taskId, ct);
        if (!task.IsOpen())
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"Conflict '{taskId}' is {task.StatusElement?.JsonValue}, not open; nothing is to be decided.", "id");
        var choice = request.Choice == ResolutionRequest.Theirs ? Choice.Theirs : Choice.Ours;
        return await OnceAsync(arrival, task.For.IdOf("Patient"), choice, false, null, async (set, steps, cancel) =>
        {
            if (request.Seen is { } seen && seen != OpenConflict.StateOf(steps))
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                    $"seen is '{Rules.Shown(seen)}', and the record was changed since; read /api/exchange/conflicts/{taskId} again and decide on what it says now.", "seen");
            var by = await request.By!.ReferenceAsync(store, set, cancel);
            task.Close(request.Choice!, request.Reason!, by, clock.GetUtcNow());
            set.Update(task, version);
            return by;
        }, ct);
    });

    /// <summary>A conflict as it stands now, for whoever is to decide it. Writes nothing.</summary>
    /// <exception cref="RefusedException">NotFound.</exception>
    public async Task<OpenConflict> LookAsync(string taskId, CancellationToken ct)
    {
        var (task, _, arrival) = await AskedAsync(taskId, ct);
        var (incoming, person) = (IncomingBundle.Of(arrival.Bundle), task.For.IdOf("Patient"));
        return new OpenConflict(task, incoming, task.IsOpen() ? await PlanAsync(incoming, person, Choice.None, ct) : []);
    }

    private async Task<(FhirTask Task, int Version, Arrival Arrival)> AskedAsync(string taskId, CancellationToken ct)
    {
        var (task, version) = await store.RoutedAsync<FhirTask>(taskId, "conflict", ct);
        if (!ConflictTask.IsOne(task))
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"Task '{taskId}' is no conflict; GET /api/exchange/conflicts lists them.", "id");
        var (binary, _) = await store.NamedAsync<Binary>("id", ConflictTask.OriginalOf(task), "original", ct);
        var format = binary.ContentType!.Contains("xml", StringComparison.Ordinal) ? FhirFormat.Xml : FhirFormat.Json;
        return (task, version, new Arrival(binary.Data, binary.ContentType, (Bundle)ResourceReader.Read(binary.Data, format)));
    }

    private async Task<IReadOnlyList<Step>> PlanAsync(IncomingBundle incoming, string? person, Choice decision, CancellationToken ct)
    {
        var settled = await ConflictTask.SettledAsync(store, await PeopleAsync(incoming, person, ct), ct);
        return await new ImportPlan(store, settings.FhirBase).MakeAsync(incoming, person, decision, settled, ct);
    }

    private async Task<ImportAnswer> OnceAsync(
        Arrival arrival, string? person, Choice decision, bool check, string? caller, Func<WriteSet, IReadOnlyList<Step>, CancellationToken, Task<ResourceReference>>? decided, CancellationToken ct)
    {
        var now = clock.GetUtcNow();
        var incoming = IncomingBundle.Of(arrival.Bundle);
        var steps = await PlanAsync(incoming, person, decision, ct);
        var (set, original) = (new WriteSet(), $"Binary/{arrival.Id}");
        foreach (var step in steps.Where(s => s.Write is not null))
            _ = step.Twin.Version == 0 ? set.Create(step.Write!) : set.Update(step.Write!, step.Twin.Version);
        if (decision == Choice.Theirs)
            await EndOursAsync(set, steps, ct);
        var targets = steps.Where(s => s.Write is not null).Select(s => $"{s.Entry.Type}/{s.Twin.Id}/_history/{s.Twin.Version + 1}").ToList();

        string? task = null;
        if (decision == Choice.None && steps.Any(s => s.Fate == Fate.Conflict))
            task = await AskAsync(set, incoming, steps, original, now, ct);
        var by = decided is null ? null : await decided(set, steps, ct);
        if (set.Writes.Count == 0 || check)
            return ImportAnswer.Of(incoming, steps, task, null, null);

        if (await store.ReadAsync("Binary", arrival.Id, ct) is null)
            set.Create(new Binary { Id = arrival.Id, ContentType = arrival.ContentType, Data = arrival.Bytes.ToArray(), SecurityContext = new ResourceReference($"Patient/{PersonOf(steps)}") });
        // In the same transaction as what came of it. A decision later takes in what was received, and audited, then.
        if (caller is not null)
            set.Create(Receipt.Of(incoming.Sender, caller, PersonOf(steps), original, incoming.Bundle.Identifier, settings, now));
        var provenance = targets.Count == 0 ? null : set.Create(ImportProvenance.Of(incoming, targets, original, by, settings.FhirBase, now));
        await BringAlongAsync(set, steps, ct);
        await writer.WriteAsync(set, ct);
        return ImportAnswer.Of(incoming, steps, task, provenance is null ? null : $"Provenance/{provenance.Id}", original);
    }

    /// <summary>Asks once for the same conflict; an earlier question about the same thing is overtaken.</summary>
    private async Task<string> AskAsync(WriteSet set, IncomingBundle incoming, IReadOnlyList<Step> steps, string original, DateTimeOffset now, CancellationToken ct)
    {
        var id = ConflictTask.IdOf(incoming, steps);
        if (await store.GetAsync<FhirTask>(id, ct) is null)
        {
            var asked = set.Create(ConflictTask.Of(id, incoming, steps, original, now));
            foreach (var earlier in await ConflictTask.OfAsync(store, PersonOf(steps), ct))
                if (earlier.IsOpen() && earlier.Focus?.Reference == asked.Focus?.Reference)
                {
                    earlier.Supersede(now);
                    set.Update(earlier, int.Parse(earlier.Meta!.VersionId!, System.Globalization.CultureInfo.InvariantCulture));
                }
        }

        return $"Task/{id}";
    }

    /// <summary>Theirs was chosen: what only we prescribed ends, and stays where results rest on it.</summary>
    private async System.Threading.Tasks.Task EndOursAsync(WriteSet set, IReadOnlyList<Step> steps, CancellationToken ct)
    {
        var known = steps.Select(s => $"{s.Entry.Type}/{s.Twin.Id}").ToHashSet(StringComparer.Ordinal);
        foreach (var plan in steps.Where(s => s.Entry.Resource is CarePlan && s.Twin.Here is not null))
            foreach (var request in await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{plan.Twin.Id}", ct))
            {
                if (request.Status != RequestStatus.Active || known.Contains($"ServiceRequest/{request.Id}"))
                    continue;
                var results = await store.FindAllAsync<Observation>($"based-on=ServiceRequest/{request.Id}", ct);
                var last = results.Select(o => Addresses.Day((o.Effective as FhirDateTime)?.Value)).OfType<DateOnly>().DefaultIfEmpty().Max();
                request.Status = results.Count == 0 ? RequestStatus.EnteredInError : RequestStatus.Revoked;
                if (results.Count > 0 && Programmes.Timings.Bounds(request) is { } bounds)
                    bounds.End = Programmes.Timings.Iso(last);
                set.Update(request, int.Parse(request.Meta!.VersionId!, System.Globalization.CultureInfo.InvariantCulture));
            }
    }

    /// <summary>An open draft never says less than the record.</summary>
    private async System.Threading.Tasks.Task BringAlongAsync(WriteSet set, IReadOnlyList<Step> steps, CancellationToken ct)
    {
        foreach (var plan in steps.Where(s => s.Entry.Resource is CarePlan && s.Twin.Here is CarePlan { Status: not RequestStatus.Draft }))
            await upToDate.AddToOpenAsync(set, await reader.ReadAsync(plan.Twin.Id, ct), ct);
    }

    private async Task<List<string>> PeopleAsync(IncomingBundle incoming, string? person, CancellationToken ct)
    {
        var entry = incoming.Entries.Single(e => e.Resource is Patient);
        var twin = await new Twins(store, settings.FhirBase).OfPersonAsync(entry, person, ct);
        return twin.Here is null ? [] : [twin.Id];
    }

    private static string PersonOf(IReadOnlyList<Step> steps) => steps.Single(s => s.Entry.Resource is Patient).Twin.Id;

    private static async Task<ImportAnswer> AgainAsync(Func<Task<ImportAnswer>> run)
    {
        for (var attempt = 1; ; attempt++)
        {
            try
            {
                return await run();
            }
            catch (RefusedException e) when (attempt < Tries && e.Refusal == Refusal.StaleVersion)
            {
                // Somebody changed what this was compared with; compare again with what is there now.
                Telemetry.Measured.MadeAgain.Add(1);
            }
        }
    }
}
