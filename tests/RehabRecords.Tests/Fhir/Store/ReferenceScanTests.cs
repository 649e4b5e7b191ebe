using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

public sealed class ReferenceScanTests
{
    [Fact]
    public void References_and_canonicals_are_found_at_any_depth_and_nothing_that_only_looks_like_one()
    {
        var request = new ServiceRequest
        {
            Subject = new ResourceReference("Patient/p"),
            InstantiatesCanonical = ["https://x.example/a|1", "https://x.example/b"],
            ReasonReference = [new ResourceReference("#inside"), new ResourceReference("Observation/o/_history/2"), new ResourceReference("https://elsewhere.example/Patient/q")],
            Contained = [new Hl7.Fhir.Model.Task { Id = "inside", Focus = new ResourceReference("Procedure/c") }],
            Extension = [new Extension("https://x.example/e", new Canonical("https://x.example/c|3")), new Extension("https://x.example/f", new Attachment { Url = "Binary/file" })],
            Note = [new Annotation { Text = "he wrote \"reference\":\"Patient/other\" and Canonical\":[\"no\"] and \"url\":\"Binary/no\" on the form" }],
        };
        var found = new List<FoundReference>();
        ReferenceScan.Read(ResourceWriter.Json(request), found.Add);
        Assert.Equal(
            ["Binary/file", "Observation/o/_history/2", "Patient/p", "Procedure/c", "https://elsewhere.example/Patient/q"],
            found.Where(f => !f.IsCanonical).Select(f => f.Text).Order(StringComparer.Ordinal));
        Assert.Equal(["https://x.example/a|1", "https://x.example/b", "https://x.example/c|3"], found.Where(f => f.IsCanonical).Select(f => f.Text).Order(StringComparer.Ordinal));
        Assert.Equal(("Observation", "o", 2), found.Single(f => f.Text.Contains("_history", StringComparison.Ordinal)).Address);
        Assert.Null(found.Single(f => f.Text.StartsWith("https://elsewhere", StringComparison.Ordinal)).Address);
    }
}
