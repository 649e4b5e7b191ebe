using CsCheck;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.RecordExport;

/// <summary>Whatever happened to a record, it survives the way through a zip.</summary>
public sealed class RandomRecordTests
{
    private static readonly string[] People = ["a", "b"];
    private static readonly string[] Ids = ["r1", "r2", "r3", "r4"];

    private sealed record Step(int Kind, string Id, string Person, int Value, int Minutes);

    private static readonly Gen<Step[]> Steps =
        (from kind in Gen.Int[0, 5]
         from id in Gen.Int[0, Ids.Length - 1].Select(i => Ids[i])
         from person in Gen.Int[0, 1].Select(i => People[i])
         from value in Gen.Int[1, 1000]
         from minutes in Gen.Int[-3, 10]
         select new Step(kind, id, person, value, minutes)).Array[5, 40];

    [Fact]
    public void Exported_verified_imported_and_exported_again_it_is_the_same_for_each_person() =>
        Steps.Sample(steps => RunAsync(steps).GetAwaiter().GetResult(), iter: 12, threads: 2);

    private static async Task<bool> RunAsync(Step[] steps)
    {
        await using var here = await ExportClinic.OpenAsync();
        foreach (var id in People)
        {
            var person = Samples.Person($"n-{id}");
            person.Id = id;
            await here.Store.CreateAsync(person);
        }

        await here.Store.CreateAsync(new Practitioner { Id = "physio", Active = true });
        foreach (var step in steps)
        {
            // Also backwards: a clock that was set.
            here.Clock.Now += TimeSpan.FromMinutes(step.Minutes);
            await DoAsync(here.Store, step);
        }

        foreach (var person in People)
        {
            // Each into a store of their own: of what moved from one to the other, each has a part.
            await using var there = await ExportClinic.OpenAsync();
            var zip = await ExportClinic.ExportAsync(here.Store, person);
            var (verdict, _) = await ExportClinic.ImportAsync(there.Store, zip);
            Assert.Empty(verdict.Problems);
            Assert.Equal(ExportClinic.Content(zip), ExportClinic.Content(await ExportClinic.ExportAsync(there.Store, person)));
        }

        return true;
    }

    private static async Task DoAsync(RecordStore store, Step step)
    {
        var (type, make) = step.Kind switch
        {
            0 or 1 => ("Observation", (Func<Resource>)(() => new Observation
            {
                Status = ObservationStatus.Final,
                Code = new CodeableConcept { Text = "grip" },
                Subject = new ResourceReference($"Patient/{step.Person}"),
                Value = new Quantity(step.Value, "kg"),
                Performer = [new ResourceReference("Practitioner/physio")],
            })),
            2 => ("Procedure", () => new Procedure { Status = EventStatus.Completed, Subject = new ResourceReference($"Patient/{step.Person}"), Note = [new Annotation { Text = $"Sätze & <Zeilen> \u2028 {step.Value}\n\"quoted\"" }] }),
            3 => ("Practitioner", () => new Practitioner { Active = step.Value % 2 == 0 }),
            4 => ("Provenance", () => new Provenance { Target = [new ResourceReference($"Observation/{step.Id}")], Recorded = DateTimeOffset.UnixEpoch, Agent = [new Provenance.AgentComponent { Who = new ResourceReference("Practitioner/physio") }] }),
            _ => (step.Value % 3 == 0 ? "Provenance" : "Observation", () => null!),
        };
        var id = type == "Practitioner" ? "physio" : step.Id;
        var current = await store.ReadAsync(type, id);
        var set = new WriteSet();
        if (make() is { } resource)
        {
            resource.Id = id;
            if (current is null)
                set.Create(resource);
            else
                set.Update(resource, current.Version);
        }
        else if (current is { Deleted: false })
            set.Delete(type, id, current.Version);
        try
        {
            await store.CommitAsync(set);
        }
        catch (RefusedException refused) when (refused.Refusal == Refusal.Conflict)
        {
            // Something still refers to it; that is as it should be.
        }
    }
}
