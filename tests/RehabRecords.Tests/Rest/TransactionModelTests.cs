using System.Text.Json.Nodes;
using CsCheck;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>Random transactions and batches, done by the service and by a model of a few lines; both must come to the same.</summary>
public sealed class TransactionModelTests(TestApp app) : IClassFixture<TestApp>
{
    private static readonly Gen<Step> AnyStep =
        from does in Gen.Enum<Does>()
        from whom in Gen.Int[0, 4]
        from identifier in Gen.Int[0, 3]
        from name in Gen.Int[0, 2]
        from version in Gen.Frequency((8, Gen.Const(Named.Current)), (1, Gen.Const(Named.Stale)), (1, Gen.Const(Named.None)))
        select new Step(does, whom, identifier, $"Name{name}", version);

    private static int _runs;

    private enum Does
    {
        Create,
        CreateUnlessThere,
        Update,
        UpdateByIdentifier,
        Patch,
        Delete,
        DeleteByIdentifier,
    }

    private enum Named
    {
        Current,
        Stale,
        None,
    }

    [Fact]
    public Task The_record_is_what_the_model_says() =>
        Gen.Select(Gen.Bool, AnyStep.Array[1, 4]).Array[1, 6].SampleAsync(RunAsync, iter: 60, threads: 1);

    private async Task RunAsync((bool Batch, Step[] Steps)[] bundles)
    {
        var prefix = $"model-{Interlocked.Increment(ref _runs)}";
        var people = new List<Person>();
        for (var i = 1; i <= 3; i++)
            people.Add(new Person(await app.CreateAsync(FhirCalls.Person("Name0", $"{prefix}-{i}")), 1, false, i, "Name0"));

        foreach (var (batch, steps) in bundles)
        {
            var entries = steps.Select(s => EntryOf(s, people, prefix)).ToArray();
            var before = app.State();
            using var response = await app.SendAsync("POST", "", Bundle(batch ? "batch" : "transaction", entries).ToJsonString());
            var foretold = batch ? Batch(people, steps) : Transaction(people, steps);
            if (foretold is null)
            {
                Assert.True((int)response.StatusCode is >= 400 and < 500, $"{string.Join("; ", steps)} should fail: {response.Text()}");
                Assert.Equal(before, app.State());
                continue;
            }
            Assert.True(response.IsSuccessStatusCode, $"{string.Join("; ", steps)} should be done: {response.Text()}");
            var answers = (await response.FhirAsync<Bundle>()).Entry;
            Assert.Equal(foretold.Statuses, answers.Select(a => a.Response!.Status![0] == '4' ? "4" : a.Response.Status[..3]));
            people = [.. foretold.After.Select(p => p.Id.StartsWith('@') ? p with { Id = answers[int.Parse(p.Id[1..])].Response!.Location!.Split('/')[^3] } : p)];
            foreach (var person in people)
                await CompareAsync(person, prefix);
        }
    }

    private async Task CompareAsync(Person expected, string prefix)
    {
        var found = (await app.Store.ReadAsync("Patient", expected.Id))!;
        Assert.Equal((expected.Version, expected.Deleted), (found.Version, found.Deleted));
        if (found.Deleted)
            return;
        var stored = JsonNode.Parse(found.Json.Span)!;
        Assert.Equal(expected.Name, stored["name"]![0]!["family"]!.ToString());
        Assert.Equal(expected.Identifier == 0 ? null : $"{prefix}-{expected.Identifier}", stored["identifier"]?[0]!["value"]!.ToString());
    }

    private static JsonObject EntryOf(Step step, List<Person> people, string prefix)
    {
        var whom = step.Find(people);
        var identifier = step.Identifier == 0 ? null : $"{prefix}-{step.Identifier}";
        var by = $"Patient?identifier={Uri.EscapeDataString($"{IdSystem}|{prefix}-{step.Sought}")}";
        var tag = step.Version == Named.None ? null : $"W/\"{(step.Holder(people) ?? whom).Version + (step.Version == Named.Stale ? 3 : 0)}\"";
        var own = step.Version == Named.None ? null : $"W/\"{whom.Version + (step.Version == Named.Stale ? 3 : 0)}\"";
        var sought = $"{prefix}-{step.Sought}";
        return step.Does switch
        {
            Does.Create => Entry("POST", "Patient", FhirCalls.Person(step.Name, identifier)),
            Does.CreateUnlessThere => Entry("POST", "Patient", FhirCalls.Person(step.Name, sought), ifNoneExist: $"identifier={IdSystem}|{sought}"),
            Does.Update => Entry("PUT", $"Patient/{whom.Id}", FhirCalls.Person(step.Name, identifier, whom.Id), ifMatch: own),
            Does.UpdateByIdentifier => Entry("PUT", by, FhirCalls.Person(step.Name, sought), ifMatch: tag),
            Does.Patch => Entry("PATCH", $"Patient/{whom.Id}", Patch(step.Name), ifMatch: own),
            Does.Delete => Entry("DELETE", $"Patient/{whom.Id}", ifMatch: own),
            _ => Entry("DELETE", by, ifMatch: tag),
        };
    }

    private static string Patch(string name) => $$"""
        {"resourceType":"Parameters","parameter":[{"name":"operation","part":[{"name":"type","valueCode":"replace"},
        {"name":"path","valueString":"Patient.name[0].family"},{"name":"value","valueString":"{{name}}"}]}]}
        """;

    private static Foretold Batch(List<Person> people, Step[] steps)
    {
        // Each entry is a transaction of its own. What one creates no other can name, except by its identifier.
        var (now, statuses) = (people, new List<string>());
        for (var i = 0; i < steps.Length; i++)
        {
            // An entry names the versions of the time before the batch.
            var done = Transaction(now, [steps[i]], people, i);
            statuses.Add(done?.Statuses[0] ?? "4");
            now = done?.After ?? now;
        }
        return new Foretold(now, statuses);
    }

    /// <summary>What the record is afterwards, or null when the transaction must fail.</summary>
    private static Foretold? Transaction(List<Person> people, Step[] steps, List<Person>? seen = null, int place = 0)
    {
        seen ??= people;
        var (after, statuses, touched, doomed) = (people.ToList(), new string[steps.Length], new List<string>(), new List<string>());
        bool Take(int i, Person target, Func<Person, Person> becomes, string status)
        {
            var sender = steps[i].NamesItself ? steps[i].Find(seen) : steps[i].Holder(seen) ?? steps[i].Find(seen);
            if (steps[i].Version != Named.Current || sender.Version != target.Version)
                return false;
            touched.Add(target.Id);
            after[after.FindIndex(p => p.Id == target.Id)] = becomes(target) with { Version = target.Version + 1 };
            statuses[i] = status;
            return true;
        }

        foreach (var i in Enumerable.Range(0, steps.Length).OrderBy(i => steps[i].Does is not (Does.Delete or Does.DeleteByIdentifier)))
        {
            var step = steps[i];
            var whom = people.Find(p => p.Id == step.Find(seen).Id)!;
            var holder = people.Find(p => !p.Deleted && p.Identifier == step.Sought && (step.Does == Does.DeleteByIdentifier || !doomed.Contains(p.Id)));
            var done = true;
            switch (step.Does)
            {
                case Does.Delete when whom.Deleted:
                    touched.Add(whom.Id);
                    statuses[i] = "204";
                    break;
                case Does.DeleteByIdentifier when holder is null:
                    statuses[i] = "204";
                    break;
                case Does.Delete or Does.DeleteByIdentifier:
                    var going = step.Does == Does.Delete ? whom : holder!;
                    done = Take(i, going, p => p with { Deleted = true }, "204");
                    doomed.Add(going.Id);
                    break;
                case Does.CreateUnlessThere when holder is not null:
                    statuses[i] = "200";
                    break;
                case Does.UpdateByIdentifier when holder is not null:
                    done = Take(i, holder, p => p with { Name = step.Name }, "200");
                    break;
                case Does.UpdateByIdentifier when step.Version != Named.None:
                    done = false;
                    break;
                case Does.Create or Does.CreateUnlessThere or Does.UpdateByIdentifier:
                    after.Add(new Person($"@{place + i}", 1, false, step.Does == Does.Create ? step.Identifier : step.Sought, step.Name));
                    statuses[i] = "201";
                    break;
                case Does.Update:
                    done = Take(i, whom, p => p with { Deleted = false, Identifier = step.Identifier, Name = step.Name }, "200");
                    break;
                case Does.Patch:
                    done = !whom.Deleted && Take(i, whom, p => p with { Name = step.Name }, "200");
                    if (done && whom.Name == step.Name)
                        after[after.FindIndex(p => p.Id == whom.Id)] = whom;
                    break;
            }
            if (!done)
                return null;
        }
        var held = after.Where(p => !p.Deleted && p.Identifier != 0).Select(p => p.Identifier).ToList();
        return touched.Distinct().Count() == touched.Count && held.Distinct().Count() == held.Count ? new Foretold(after, [.. statuses]) : null;
    }

    private sealed record Person(string Id, int Version, bool Deleted, int Identifier, string Name);

    private sealed record Foretold(List<Person> After, IReadOnlyList<string> Statuses);

    private sealed record Step(Does Does, int Whom, int Identifier, string Name, Named Version)
    {
        public int Sought => Math.Max(1, Identifier);

        public bool NamesItself => Does is Does.Update or Does.Patch or Does.Delete;

        public Person Find(List<Person> people) => people[Whom % people.Count];

        public Person? Holder(List<Person> people) => people.Find(p => !p.Deleted && p.Identifier == Sought);
    }
}
