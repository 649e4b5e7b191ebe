using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Progress;

/// <summary>Reads all that the store holds of one programme.</summary>
public sealed class ProgressReader(RecordStore store)
{
    /// <exception cref="RefusedException">NotFound when there is no such programme.</exception>
    public async Task<ProgrammeRecord> ReadAsync(string programmeId, CancellationToken ct = default)
    {
        var readAt = await store.LastSequenceAsync(ct);
        if (await store.GetAsync<CarePlan>(programmeId, ct) is not var (plan, _))
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound,
                $"There is no programme '{programmeId}'. Use the id that POST /api/programmes answered.", "programme");
        var person = plan.Subject.IdOf("Patient") ?? throw new FormatException($"{plan.Evidence()} names no person.");

        var all = new List<Resource> { plan };
        if (await store.GetAsync<Patient>(person, ct) is var (patient, _))
            all.Add(patient);
        all.AddRange(await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{programmeId}", ct));
        all.AddRange(await store.FindAllAsync<Hl7.Fhir.Model.Task>($"based-on=CarePlan/{programmeId}", ct));
        all.AddRange(await store.FindAllAsync<Procedure>($"based-on=CarePlan/{programmeId}", ct));
        all.AddRange(await store.FindAllAsync<AdverseEvent>($"subject=Patient/{person}", ct));
        all.AddRange(await store.FindAllAsync<Flag>($"subject=Patient/{person}", ct));
        all.AddRange(await store.FindAllAsync<Goal>($"subject=Patient/{person}", ct));
        var results = await store.FindAllAsync<Observation, RecordedResult>($"subject=Patient/{person}", RecordedResult.Of, ct);
        return ProgrammeMapping.Map(programmeId, all, results) with { ReadAt = readAt };
    }

    /// <summary>Ids of a person's programmes that were handed over, earliest first.</summary>
    public async Task<IReadOnlyList<string>> ProgrammesOfAsync(string personId, CancellationToken ct = default)
    {
        var plans = await store.FindAllAsync<CarePlan>($"subject=Patient/{personId}", ct);
        // Nothing is due of a draft: the person has not been given it. Nor was one that was taken back.
        return [.. plans.Where(p => p.Status is not (RequestStatus.Draft or RequestStatus.EnteredInError)).OrderBy(p => p.Period?.Start, StringComparer.Ordinal).ThenBy(p => p.Id, StringComparer.Ordinal).Select(p => p.Identity())];
    }
}
