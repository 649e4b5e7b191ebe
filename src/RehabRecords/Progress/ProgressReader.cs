using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
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

        // A revision changes the programme and its prescriptions together, and so they are read together.
        var (ofProgramme, ofPerson) = ($"based-on=CarePlan/{programmeId}", $"subject=Patient/{person}");
        var found = await store.FindAsync(
            [
                ("CarePlan", $"_id={programmeId}"), ("Patient", $"_id={person}"), ("ServiceRequest", ofProgramme), ("Task", ofProgramme), ("Procedure", ofProgramme),
                ("AdverseEvent", ofPerson), ("Flag", ofPerson), ("Goal", ofPerson), ("Observation", ofPerson),
            ], ct);
        var all = found[..^1].SelectMany(versions => versions).Select(v => ResourceReader.Trusted<Resource>(v.Json)).ToList();
        if (all is not [CarePlan { Subject: { } subject }, ..] || subject.IdOf("Patient") != person)
            return await ReadAsync(programmeId, ct);
        var results = found[^1].Select(v => store.ReadingOf<Observation, RecordedResult>(v, RecordedResult.Of)).ToList();
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
