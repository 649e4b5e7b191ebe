using Hl7.Fhir.Model;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Search;

public class SearchIndexerTests
{
    public static TheoryData<string, Resource, string?> PersonsOfResources() => new()
    {
        { "a patient is about itself", new Patient { Id = "p1" }, "p1" },
        { "subject of an Observation", new Observation { Subject = new ResourceReference("Patient/p1") }, "p1" },
        { "a versioned reference", new Observation { Subject = new ResourceReference("Patient/p1/_history/3") }, "p1" },
        { "a subject that is no person", new Observation { Subject = new ResourceReference("Group/g") }, null },
        { "whom a Task is for", new Hl7.Fhir.Model.Task { For = new ResourceReference("Patient/p1") }, "p1" },
        { "patient of an EpisodeOfCare", new EpisodeOfCare { Patient = new ResourceReference("Patient/p1") }, "p1" },
        { "subject of an AdverseEvent", new AdverseEvent { Subject = new ResourceReference("Patient/p1") }, "p1" },
        { "patient of a Consent", new Consent { Patient = new ResourceReference("Patient/p1") }, "p1" },
        { "a target of a Provenance", new Provenance { Target = [new ResourceReference("CarePlan/c"), new ResourceReference("Patient/p1")] }, "p1" },
        { "an exercise of the library", new ActivityDefinition { Title = "Pegs" }, null },
        { "a clinician", new Practitioner(), null },
    };

    [Theory]
    [MemberData(nameof(PersonsOfResources))]
    public void The_person_a_resource_is_about_is_known(string why, Resource resource, string? person) =>
        Assert.True(TestIndex.Indexer.Index(resource).Person == person, why);

    /// <summary>The latest of a person are looked for among the rows of that person alone.</summary>
    [Fact]
    public void Whatever_a_parameter_that_tells_the_person_finds_is_indexed_under_that_person()
    {
        var telling = TestIndex.Parameters.All.Where(p => p.TellsThePerson).ToList();
        foreach (var parameter in telling)
        {
            var rows = TestIndex.Indexer.Index(Filled.Resource(parameter.Type, 0));
            Assert.True(rows.Person is not null, parameter.Type);
            Assert.Equal([$"Patient/{rows.Person}"], rows.References.Where(r => r.Parameter == parameter.Key).Select(r => r.Target));
        }

        Assert.Superset(
            new HashSet<string> { "Observation?patient", "Observation?subject", "CarePlan?patient", "CarePlan?subject", "Task?patient", "Consent?patient", "Composition?subject" },
            telling.Select(p => $"{p.Type}?{p.Code}").ToHashSet());
        // Of these a resource names many.
        Assert.DoesNotContain(telling, p => p.Type is "AuditEvent" or "Provenance" or "Account");
    }

    [Fact]
    public void Every_expression_of_every_registered_type_is_evaluated_without_error_on_an_empty_resource()
    {
        foreach (var kind in TestIndex.Parameters.Registry.Kinds)
        {
            var resource = (Resource)Activator.CreateInstance(ModelInfo.GetTypeForFhirType(kind.Type)!)!;
            Assert.Empty(TestIndex.Indexer.Index(resource).Claims);
        }
    }

    [Fact]
    public void Identifiers_are_claimed_only_with_system_and_value_and_once_each()
    {
        var claims = TestIndex.Indexer.Index(new Patient
        {
            Identifier = [new("urn:a", "1"), new("urn:a", "1"), new("urn:b", "1"), new() { Value = "1" }, new() { System = "urn:a" }],
        }).Claims;
        Assert.Equal(["urn:a|1", "urn:b|1"], claims.Select(c => $"{c.System}|{c.Value}").Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task Many_threads_index_alike()
    {
        var resource = Samples.Result("p1", 20);
        var expected = TestIndex.Indexer.Index(resource);
        var counts = await Task.WhenAll(Enumerable.Range(0, 8).Select(_ => Task.Run(() => Enumerable.Range(0, 50).Select(_ => TestIndex.Indexer.Index(Samples.Result("p1", 20)).Count).Distinct().ToList())));
        Assert.All(counts, c => Assert.Equal([expected.Count], c));
    }
}
