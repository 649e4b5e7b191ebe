using System.Xml.Linq;

namespace RehabRecords.Tests;

public class ArrowsTests
{
    [Theory]
    [InlineData("RehabRecords.Clinical", new string[0])]
    [InlineData("RehabRecords.Fhir", new string[0])]
    [InlineData("RehabRecords", new[] { "RehabRecords.Clinical", "RehabRecords.Fhir" })]
    public void A_source_project_references_only_what_the_design_allows(string project, string[] allowed)
    {
        var file = XDocument.Load(Path.Combine(Repository.Root, "src", project, project + ".csproj"));
        var found = file.Descendants("ProjectReference").Select(r => Path.GetFileNameWithoutExtension(r.Attribute("Include")!.Value));
        Assert.Equal(allowed, found.Order(StringComparer.Ordinal));
    }

    [Fact]
    public void There_are_three_source_projects() =>
        Assert.Equal(3, Directory.EnumerateFiles(Path.Combine(Repository.Root, "src"), "*.csproj", SearchOption.AllDirectories).Count());

    [Fact]
    public void The_record_store_knows_nothing_of_http()
    {
        var project = XDocument.Load(Path.Combine(Repository.Root, "src/RehabRecords.Fhir/RehabRecords.Fhir.csproj"));
        Assert.Equal("Microsoft.NET.Sdk", project.Root!.Attribute("Sdk")!.Value);
        Assert.Empty(project.Descendants("FrameworkReference"));
    }
}
