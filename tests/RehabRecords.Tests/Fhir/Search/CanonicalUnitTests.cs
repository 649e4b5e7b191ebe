using RehabRecords.Fhir.Search;

namespace RehabRecords.Tests.Fhir.Search;

public class CanonicalUnitTests
{
    private const string Ucum = "http://unitsofmeasure.org";

    [Fact]
    public void The_units_of_every_day_are_what_the_table_of_units_makes_of_them() =>
        Assert.All(CanonicalUnit.Everyday, e => Assert.Equal(e.Value, CanonicalUnit.ByTable(e.Key)));

    [Theory]
    [InlineData("km/h", "m.s-1", 0.2777778)]
    [InlineData("[lbf_av]", "g.m.s-2", 4448.2216)]
    [InlineData("deg", "rad", 0.0174533)]
    [InlineData("%", "1", 0.01)]
    [InlineData("/min", "s-1", 0.016666667)]
    [InlineData("mm[Hg]", "g.m-1.s-2", 133322)]
    public void Other_units_are_turned_by_the_table(string code, string unit, double factor)
    {
        var canonical = CanonicalUnit.Of(Ucum, code)!;
        Assert.Equal(unit, canonical.Code);
        Assert.Equal(1, (double)canonical.Factor / factor, 5);
    }

    [Theory]
    [InlineData(Ucum, "{reps}", "an annotation is a unit of its own")]
    [InlineData(Ucum, "kg{wet}", "also with a unit before it")]
    [InlineData(Ucum, "Cel", "a scale with another zero")]
    [InlineData(Ucum, "[degF]", "the same")]
    [InlineData(Ucum, "furlongs", "no unit")]
    [InlineData(Ucum, "", "no code")]
    [InlineData(Ucum, null, "no code")]
    [InlineData("urn:other", "min", "no UCUM")]
    [InlineData(null, "min", "no system")]
    public void What_cannot_be_turned_is_left_as_it_is(string? system, string? code, string why) => Assert.True(CanonicalUnit.Of(system, code) is null, why);
}
