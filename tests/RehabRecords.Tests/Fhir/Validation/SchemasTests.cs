using System.Collections.Concurrent;
using Firely.Fhir.Validation;
using Hl7.Fhir.FhirPath;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Hl7.FhirPath;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;
using RehabRecords.Tests.Fhir.Definitions;

#pragma warning disable ExperimentalApi // The compiler that the validator itself uses.

namespace RehabRecords.Tests.Fhir.Validation;

/// <summary>Schemas are made when they are first needed, by whichever request that is, and many may be the first at once.</summary>
public class SchemasTests
{
    private static readonly IReadOnlyList<Resource> Resources =
        [.. SharedDefinitions.Examples.Select(f => ResourceReader.Read(File.ReadAllBytes(f), FhirFormat.Json))];

    [Fact]
    public void A_definition_that_was_handed_out_is_never_changed()
    {
        using var pack = DefinitionsPack.Open();
        using var validator = ResourceValidator.Create(pack);
        var structures = pack.Entries.Where(e => e.Type == "StructureDefinition").ToList();
        var before = structures.ConvertAll(e => Written(pack, e));
        foreach (var resource in Resources)
            validator.Validate(resource);
        for (var i = 0; i < structures.Count; i++)
            Assert.True(before[i].AsSpan().SequenceEqual(Written(pack, structures[i])), $"{structures[i].Url} was changed by validating with it");
    }

    [Fact]
    public void Whoever_is_first_at_once_finds_every_type_whole()
    {
        // The pack is shared and already parsed, so that nothing but the making of schemas is left to meet in; a few rounds, since it is a race.
        using var pack = DefinitionsPack.Open();
        Resource[] small =
        [
            new Organization { Name = "Team", Alias = ["T"] },
            new Device { LotNumber = "1", Note = [new Annotation { Text = "As *new*." }] },
            new Practitioner { Name = [new HumanName { Family = "Invented", Given = ["Rowan"] }] },
            new Patient { Identifier = [new Identifier("https://clinic.test/id", "1")], Telecom = [new ContactPoint(ContactPoint.ContactPointSystem.Phone, null, "01632 960099")] },
        ];
        var wrong = new ConcurrentBag<string>();
        for (var round = 0; round < 15; round++)
        {
            using var validator = ResourceValidator.Create(pack);
            using var start = new Barrier(small.Length);
            var threads = small.Select(resource => new Thread(() =>
            {
                start.SignalAndWait();
                foreach (var issue in validator.Validate(resource).Where(x => x.Refuses))
                    wrong.Add(issue.Message);
            })).ToList();
            threads.ForEach(t => t.Start());
            threads.ForEach(t => t.Join());
        }

        Assert.Empty(wrong.Distinct());
    }

    [Fact]
    public void A_code_that_was_good_once_is_judged_the_same_again_and_a_bad_one_stays_bad()
    {
        using var pack = DefinitionsPack.Open();
        using var validator = ResourceValidator.Create(pack);
        foreach (var (status, refused) in new[] { ("final", false), ("final", false), ("finished", true), ("final", false), ("finished", true) })
        {
            var observation = new Observation { Code = new CodeableConcept { Text = "Pinch" }, Subject = new ResourceReference { Display = "Somebody" } };
            observation.StatusElement = new Code<ObservationStatus> { JsonValue = status };
            Assert.Equal(refused, validator.Validate(observation).Any(i => i.Refuses));
        }
    }

    [Fact]
    public void An_invariant_that_is_not_asked_is_one_of_R4_word_for_word()
    {
        var ofR4 = SharedDefinitions.Pack.Entries.Where(e => e is { Type: "StructureDefinition", Constrains: false })
            .Select(e => (StructureDefinition)SharedDefinitions.Pack.Find(e.Url)!)
            .SelectMany(s => s.Snapshot?.Element ?? []).SelectMany(e => e.Constraint).Select(c => c.Expression).ToHashSet();
        Assert.All(QuickInvariant.Expressions, e => Assert.Contains(e, ofR4));
    }

    [Fact]
    public void Where_an_invariant_is_not_asked_it_holds()
    {
        var compiled = QuickInvariant.Expressions.ToDictionary(e => e, e => FhirPathValidator.DefaultCompiler.Compile(e));
        var agreed = compiled.Keys.ToDictionary(e => e, _ => 0);
        // Those that break a rule too: there it must not be said to hold.
        var files = SharedDefinitions.Examples.Concat(Directory.EnumerateFiles(Path.Combine(Repository.Root, "examples", "invalid"), "*.json"));
        foreach (var resource in files.Select(File.ReadAllText).Where(t => t.Contains("\"resourceType\"", StringComparison.Ordinal)).Select(t => FhirJsonDeserializer.OSTRICH.DeserializeResource(t)))
            foreach (var node in All(resource.ToPocoNode()))
                foreach (var (expression, engine) in compiled)
                    if (QuickInvariant.SurelyHolds(expression, node.Poco))
                    {
                        Assert.True(engine.IsTrue(node, new FhirEvaluationContext()), $"{node.GetLocation()}: {expression}");
                        agreed[expression]++;
                    }

        Assert.True(agreed.Values.Count(n => n > 0) > 15, string.Join("\n", agreed.Where(a => a.Value == 0).Select(a => a.Key)));
    }

    private static IEnumerable<PocoNode> All(PocoNode node) => node.Children().SelectMany(c => c).SelectMany(All).Prepend(node);

    private static byte[] Written(DefinitionsPack pack, PackEntry entry) => ResourceWriter.Json(pack.Find($"{entry.Url}{(entry.Version is null ? "" : "|" + entry.Version)}")!);
}
