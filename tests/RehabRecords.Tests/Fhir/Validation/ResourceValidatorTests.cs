using System.Collections.Concurrent;
using System.Diagnostics;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.Fhir.Validation;

public class ResourceValidatorTests
{
    private static readonly IReadOnlyList<Resource> Resources =
        [.. SharedDefinitions.Examples.Select(f => ResourceReader.Read(File.ReadAllBytes(f), FhirFormat.Json))];

    [Fact]
    public void Many_threads_on_a_cold_validator_find_what_one_finds()
    {
        var expected = Resources.Select(r => Said(SharedDefinitions.Validator, r)).ToList();
        using var pack = DefinitionsPack.Open();
        using var cold = ResourceValidator.Create(pack);
        var differences = new ConcurrentBag<string>();
        var threads = Enumerable.Range(0, 8).Select(n => new Thread(() =>
        {
            for (var i = 0; i < Resources.Count; i++)
            {
                var at = (i + (n * 5)) % Resources.Count;
                try
                {
                    if (Said(cold, Resources[at]) is var said && said != expected[at])
                        differences.Add($"{Resources[at].TypeName}/{Resources[at].Id}: {said} instead of {expected[at]}");
                }
#pragma warning disable CA1031 // Reported by the test's own thread.
                catch (Exception e)
#pragma warning restore CA1031
                {
                    differences.Add(e.ToString());
                }
            }
        })).ToList();
        threads.ForEach(t => t.Start());
        threads.ForEach(t => t.Join());
        Assert.Empty(differences);
    }

    [Fact]
    public void Warming_up_changes_nothing()
    {
        using var pack = DefinitionsPack.Open();
        using var validator = ResourceValidator.Create(pack);
        validator.WarmUp();
        Assert.All(Resources, r => Assert.Equal(Said(SharedDefinitions.Validator, r), Said(validator, r)));
    }

    [Fact]
    public void A_large_attachment_is_checked_in_bounded_time()
    {
        var photo = new Patient { Photo = [new Attachment { ContentType = "image/png", Data = new byte[3_000_000] }] };
        var clock = Stopwatch.StartNew();
        SharedDefinitions.Validator.Validate(photo);
        Assert.InRange(clock.Elapsed.TotalSeconds, 0, 20);
        Assert.DoesNotContain(SharedDefinitions.Validator.Validate(photo), i => i.Refuses);
    }

    [Theory]
    [InlineData("{\"resourceType\":\"CarePlan\",\"status\":\"active\",\"intent\":\"plan\",\"subject\":{\"reference\":\"Patient/1\"},\"activity\":[{\"reference\":{\"reference\":\"ServiceRequest/1\"},\"detail\":{\"status\":\"scheduled\"}}]}", "cpl-3", "CarePlan.activity[0]")]
    [InlineData("{\"resourceType\":\"Goal\",\"lifecycleStatus\":\"active\",\"description\":{\"text\":\"x\"},\"subject\":{\"reference\":\"Patient/1\"},\"target\":[{\"detailInteger\":0}]}", "gol-1", "Goal.target[0]")]
    [InlineData("{\"resourceType\":\"AdverseEvent\",\"actuality\":\"actual\",\"subject\":{\"reference\":\"Patient/1\"},\"severity\":{\"text\":\"bad\"}}", "", "AdverseEvent.severity")]
    public void A_rule_of_r4_is_reported_at_its_element(string body, string key, string expression)
    {
        var issues = SharedDefinitions.Validator.Validate(ResourceReader.Read(System.Text.Encoding.UTF8.GetBytes(body), FhirFormat.Json));
        Assert.Contains(
            issues,
            i => i.Refuses && i.Profile is null && i.Expression.StartsWith(expression, StringComparison.Ordinal) && i.Message.Contains(key, StringComparison.Ordinal));
    }

    private static string Said(ResourceValidator validator, Resource resource) =>
        string.Join("; ", validator.Validate(resource).Select(i => $"{i.Severity} {i.Expression} {i.Message}").Order(StringComparer.Ordinal));
}
