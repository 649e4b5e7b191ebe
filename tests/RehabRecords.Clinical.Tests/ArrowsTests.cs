using System.Xml.Linq;

namespace RehabRecords.Clinical.Tests;

public class ArrowsTests
{
    // An unused reference leaves no trace in an assembly, so the project file itself is read.
    [Fact]
    public void The_clinical_project_references_one_numerics_library_and_no_project()
    {
        var project = XDocument.Load(Path.Combine(Repository.Root, "src/RehabRecords.Clinical/RehabRecords.Clinical.csproj"));
        Assert.Empty(project.Descendants("ProjectReference"));
        Assert.Equal(["MathNet.Numerics"], project.Descendants("PackageReference").Select(p => p.Attribute("Include")!.Value));
    }
}
