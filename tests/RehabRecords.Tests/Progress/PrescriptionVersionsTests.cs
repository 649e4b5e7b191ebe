using Hl7.Fhir.Model;
using RehabRecords.Progress;

namespace RehabRecords.Tests.Progress;

public class PrescriptionVersionsTests
{
    private static ServiceRequest Request(string id, string? replaces = null) => new()
    {
        Id = id,
        Replaces = replaces is null ? [] : [new ResourceReference($"ServiceRequest/{replaces}")],
    };

    [Fact]
    public void Every_version_is_known_by_the_first_one_in_any_order()
    {
        var first = PrescriptionVersions.FirstOf([Request("c", "b"), Request("other"), Request("a"), Request("b", "a")]);
        Assert.Equal(["a", "a", "a", "other"], first.OrderBy(p => p.Key, StringComparer.Ordinal).Select(p => p.Value));
    }

    [Fact]
    public void What_replaces_something_outside_the_programme_is_the_first_of_its_own() =>
        Assert.Equal("b", PrescriptionVersions.FirstOf([Request("b", "elsewhere")])["b"]);

    [Fact]
    public void A_circle_of_replacements_ends()
    {
        var first = PrescriptionVersions.FirstOf([Request("a", "b"), Request("b", "a"), Request("c", "c")]);
        Assert.Equal(("a", "b", "c"), (first["a"], first["b"], first["c"]));
    }
}
