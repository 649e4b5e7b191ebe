using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using FhirTask = Hl7.Fhir.Model.Task;
using Schedule = RehabRecords.Clinical.Schedule;

namespace RehabRecords.Discharges;

/// <summary>A programme of the episode with what was found in it up to the day of discharge.</summary>
internal sealed record ProgrammeCourse(ProgrammeRecord Record, ProgrammeFindings Findings)
{
    public ProgrammeOutline Outline => Record.Programme;

    /// <summary>What was prescribed on the last day, whether or not anything was reported since it changed.</summary>
    /// <param name="on">The day of discharge.</param>
    public IReadOnlyList<(Prescription Prescription, ServiceRequest Request)> Last(DateOnly on)
    {
        var day = Outline.End is { } end && end < on ? end : on;
        return [.. Record.Prescriptions.GroupBy(p => p.Planned.Id).Select(versions => versions.LastOrDefault(v => v.HoldsOn(day))).OfType<Prescription>()
            .Select(p => (p, Record.Resources.OfType<ServiceRequest>().Single(r => r.Id == p.Request)))];
    }
}

/// <summary>
/// Everything a discharge summary is drafted from. It does not know the time: the same record and the same form give the
/// same summary.
/// </summary>
/// <param name="Programmes">All of the episode, earliest first; at least one.</param>
/// <param name="Whole">The latest programme with the measures of the whole episode, so that the first result is the baseline of the care and not of its last part.</param>
internal sealed record DischargeRecord(Patient Patient, Episode Episode, DischargeForm Form, IReadOnlyList<ProgrammeCourse> Programmes, ProgrammeCourse Whole)
{
    public IReadOnlyList<RelatedPerson> Carers { get; init; } = [];

    public IReadOnlyList<Communication> Briefings { get; init; } = [];

    public IReadOnlyList<FhirTask> Tasks { get; init; } = [];

    public DateOnly On => Form.On;

    /// <summary>Under way on the day of discharge; where none was, the last one.</summary>
    public IReadOnlyList<ProgrammeCourse> AtDischarge =>
        Programmes.Where(p => p.Outline.End is null || p.Outline.End >= On).ToList() is { Count: > 0 } going ? going : [Programmes[^1]];

    /// <summary>When the latest of its evidence reached the record.</summary>
    public DateTimeOffset EvidenceAt => Programmes.Max(p => p.Record.EvidenceAt);

    public string TimeZone => Programmes[^1].Outline.TimeZone;

    public static DischargeRecord Of(Episode episode, DischargeForm form, IReadOnlyList<ProgrammeRecord> records, MeasureCatalogue catalogue, ClinicRules rules)
    {
        var courses = records.Select(r => new ProgrammeCourse(r, Findings.Of(r, catalogue, rules, Last(r, form.On)))).ToList();
        var latest = records[^1];
        var wide = latest with { Measures = MeasuresSince(episode.Start, form.On, latest) };
        return new DischargeRecord(
            latest.Resources.OfType<Patient>().Single(p => p.Id == latest.Person.Id), episode, form, courses,
            new ProgrammeCourse(wide, Findings.Of(wide, catalogue, rules, form.On)));
    }

    public static async Task<DischargeRecord> ReadAsync(
        RecordStore store, ProgressReader reader, Episode episode, DischargeForm form, MeasureCatalogue catalogue, ClinicRules rules, CancellationToken ct)
    {
        var record = Of(episode, form, await episode.RecordsAsync(reader, ct), catalogue, rules);
        var person = record.Patient.Id;
        return record with
        {
            Carers = await store.FindAllAsync<RelatedPerson>($"patient=Patient/{person}", ct),
            Briefings = await store.FindAllAsync<Communication>($"subject=Patient/{person}", ct),
            Tasks = await store.FindAllAsync<FhirTask>($"patient=Patient/{person}", ct),
        };
    }

    public string Day(DateTimeOffset at) => Notes.Wording.Date(Schedule.DayOf(at, TimeZone));

    private static DateOnly Last(ProgrammeRecord record, DateOnly on) => record.Programme.End is { } end && end < on ? end : on;

    private static IReadOnlyList<MeasureResult> MeasuresSince(DateOnly start, DateOnly on, ProgrammeRecord latest)
    {
        var plan = (CarePlan)latest.Resources.OfType<CarePlan>().Single(p => p.Id == latest.Programme.Id).DeepCopy();
        plan.Period = new Period { Start = Timings.Iso(start), End = Timings.Iso(on) };
        return ProgrammeMapping.Map(plan.Id!, [.. latest.Resources.Where(r => r is not CarePlan || r.Id != plan.Id), plan], latest.Results).Measures;
    }
}
