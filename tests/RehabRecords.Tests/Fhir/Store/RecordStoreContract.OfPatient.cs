using Hl7.Fhir.Model;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

public abstract partial class RecordStoreContract
{
    [Fact]
    public async Task The_record_of_a_person_holds_what_names_them_and_what_follows_from_it_and_nothing_of_others()
    {
        await Store.CreateAsync(new Patient { Id = "p1" });
        await Store.CreateAsync(new Patient { Id = "p2" });
        var expected = new List<string> { "Patient/p1" };
        foreach (var person in (string[])["p1", "p2"])
        {
            var reference = new ResourceReference($"Patient/{person}");
            Resource[] theirs =
            [
                Samples.Result(person, 5),
                new Hl7.Fhir.Model.Task { For = reference },
                new Device { Patient = reference },
                new RelatedPerson { Patient = reference },
                new Communication { Sender = reference },
                new Composition { Id = $"note-{person}", Subject = reference },
                new Bundle { Type = Bundle.BundleType.Document, Entry = [new() { Resource = new Composition { Id = $"note-{person}", Subject = reference } }] },
                new Bundle
                {
                    Type = Bundle.BundleType.Document,
                    Entry = [new() { Resource = new Composition { Id = "elsewhere", Subject = new("urn:uuid:8d3c0f4e-0000-4000-8000-000000000000") } }, new() { FullUrl = "urn:uuid:8d3c0f4e-0000-4000-8000-000000000000", Resource = new Patient { Id = person } }],
                },
                new Provenance { Target = [new($"Composition/note-{person}")] },
                new Binary { Id = $"scan-{person}" },
                new Binary { SecurityContext = reference },
                new DocumentReference { Subject = reference, Content = [new() { Attachment = new() { Url = $"Binary/scan-{person}" } }] },
                new AuditEvent { Entity = [new() { What = reference }] },
            ];
            foreach (var resource in theirs)
                if ((await Store.CreateAsync(resource)).Address is var address && person == "p1")
                    expected.Add(address);
        }

        await Store.CreateAsync(new Practitioner());
        await Store.CreateAsync(new Binary());
        await Store.CreateAsync(new Provenance { Target = [new("Organization/o")] });

        Assert.Equal(expected.Order(StringComparer.Ordinal), await OfPatient("p1", allVersions: false, v => v.Address));
        Assert.Empty(await OfPatient("nobody", allVersions: true, v => v.Address));
    }

    [Fact]
    public async Task The_record_of_a_person_has_all_versions_and_deletions_where_asked_for_in_a_stable_order()
    {
        await Store.CreateAsync(new Patient { Id = "p1" });
        var kept = Samples.Result("p1", 1);
        kept.Id = "b";
        await Store.CreateAsync(kept);
        await Store.UpdateAsync(kept, 1);
        await Store.UpdateAsync(kept, 2);
        var gone = Samples.Result("p1", 2);
        gone.Id = "a";
        await Store.CreateAsync(gone);
        await Store.DeleteAsync("Observation", "a", 1);

        Assert.Equal(["Observation/b/_history/3", "Patient/p1/_history/1"], await OfPatient("p1", allVersions: false, v => v.VersionedAddress));
        Assert.Equal(
            ["Observation/a 1 False", "Observation/a 2 True", "Observation/b 1 False", "Observation/b 2 False", "Observation/b 3 False", "Patient/p1 1 False"],
            await OfPatient("p1", allVersions: true, v => $"{v.Address} {v.Version} {v.Deleted}"));
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task What_is_written_while_a_record_is_read_is_no_part_of_it(bool allVersions)
    {
        await Store.CreateAsync(new Patient { Id = "p1" });
        var changed = new List<Observation>();
        for (var i = 0; i < 5; i++)
        {
            // Large enough for a turn each, so that the changes fall between turns.
            changed.Add(Samples.Result("p1", i));
            changed[i].Note = [new Annotation { Text = new string('x', 1_000_000) }];
            await Store.CreateAsync(changed[i]);
        }

        var seen = new List<string>();
        await foreach (var version in Store.OfPatientAsync("p1", allVersions))
        {
            if (seen.Count == 0)
            {
                foreach (var one in changed)
                    await Store.UpdateAsync(one, 1);
                await Store.DeleteAsync("Observation", changed[4].Id!, 2);
                await Store.CreateAsync(Samples.Result("p1", 9));
            }

            seen.Add(version.VersionedAddress);
        }

        Assert.Equal(changed.Select(c => $"Observation/{c.Id}/_history/1").Order(StringComparer.Ordinal).Append("Patient/p1/_history/1"), seen);
    }

    private async Task<List<string>> OfPatient(string id, bool allVersions, Func<RecordVersion, string> say)
    {
        var said = new List<string>();
        await foreach (var version in Store.OfPatientAsync(id, allVersions))
            said.Add(say(version));
        return said;
    }
}
