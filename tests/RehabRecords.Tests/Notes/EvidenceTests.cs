using RehabRecords.Notes;

namespace RehabRecords.Tests.Notes;

public class EvidenceTests
{
    [Theory]
    [InlineData("Observation/1", "no version")]
    [InlineData("Observation/1/_history/0", "versions begin at 1")]
    [InlineData("observation/1/_history/1", "types begin with a capital")]
    [InlineData("http://elsewhere.example/Observation/1/_history/1", "another server")]
    [InlineData("", "nothing")]
    public void What_does_not_name_one_version_is_no_evidence(string address, string why) =>
        Assert.True(Assert.Throws<ArgumentException>(() => new Evidence(address)).Message.Length > 0, why);

    [Fact]
    public void Evidence_is_in_one_order_and_each_once()
    {
        string[] given = ["Procedure/b/_history/1", "Observation/z/_history/2", "Procedure/b/_history/1", "Observation/a/_history/1"];
        Assert.Equal(["Observation/a/_history/1", "Observation/z/_history/2", "Procedure/b/_history/1"], new Evidence(given[0], given[1..]));
        Assert.Equal(new Evidence(given[0], given[1..]), new Evidence(given[3], given[..3]));
    }

    [Fact]
    public void From_nothing_comes_no_evidence_and_so_no_statement()
    {
        Assert.Null(Evidence.Of([]));
        Assert.Throws<ArgumentNullException>(() => NoteRules.Adherence.State("", "Said without a reason.", null!));
        Assert.Empty(typeof(Statement).GetConstructors());
    }
}
