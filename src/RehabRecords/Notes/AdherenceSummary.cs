using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Notes;

/// <summary>Adherence so far as an Observation, one per programme, whose versions keep how it stood at each report.</summary>
internal static class AdherenceSummary
{
    public static async System.Threading.Tasks.Task AddAsync(
        RecordStore store, WriteSet set, ProgrammeRecord record, Adherence adherence, DateTimeOffset now, CancellationToken ct)
    {
        var programme = record.Programme.Id;
        var summary = Of(programme, record.Person.Id, adherence, now);
        var system = Canonical.Identifier("adherence");
        summary.Identifier = [new Identifier(system, programme)];
        if (await store.HolderOfAsync("Observation", system, programme, ct) is { } id && await store.ReadAsync("Observation", id, ct) is { Deleted: false } current)
        {
            summary.Id = id;
            set.Update(summary, record.NextAfter(current));
        }
        else
            set.Create(summary);
    }

    private static Observation Of(string programme, string person, Adherence a, DateTimeOffset now)
    {
        var summary = new Observation
        {
            Status = ObservationStatus.Final,
            Category = [Concepts.Concept(Systems.ObservationCategory, "therapy")],
            Code = Concepts.Concept(Systems.AdherenceItem, AdherenceItem.Adherence, "Adherence to the home programme"),
            BasedOn = [new ResourceReference($"CarePlan/{programme}")],
            Subject = new ResourceReference($"Patient/{person}"),
            Effective = new Period { Start = Timings.Iso(a.From), End = Timings.Iso(a.To) },
            Issued = now,
            Component =
            [
                Count(AdherenceItem.Due, "Sessions due", a.Due),
                Count(AdherenceItem.Done, "Sessions done", a.Done),
                Count(AdherenceItem.NotDone, "Sessions not done", a.NotDone),
                Count(AdherenceItem.Unknown, "Sessions without a report", a.Unknown),
            ],
            Text = Readable.Of(a.Text),
        };
        summary.Profiled(Profiles.AdherenceSummary);
        if (a.Lower is { } lower && a.Upper is { } upper)
        {
            summary.Component.Add(Ratio(AdherenceItem.RatioLower, "Share done if every session without a report was missed", lower));
            summary.Component.Add(Ratio(AdherenceItem.RatioUpper, "Share done if every session without a report was done", upper));
        }

        return summary;
    }

    private static Observation.ComponentComponent Count(string item, string words, int value) =>
        new() { Code = Concepts.Concept(Systems.AdherenceItem, item, words), Value = new Integer(value) };

    private static Observation.ComponentComponent Ratio(string item, string words, double value) =>
        new() { Code = Concepts.Concept(Systems.AdherenceItem, item, words), Value = Concepts.Ucum(Math.Round((decimal)value, 4), "1") };
}
