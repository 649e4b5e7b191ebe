using Microsoft.Extensions.Configuration;
using RehabRecords.Host;
using RehabRecords.Retention;

namespace RehabRecords.Tests.Retention;

public sealed class RetentionRuleTests
{
    [Theory]
    [InlineData("england", "2018-03-01", "1960-05-05", null, "2026-03-01", "an adult: eight years")]
    [InlineData("england", "2018-03-01", "2001-05-05", null, "2026-05-05", "16 at the last contact: until the 25th birthday")]
    [InlineData("england", "2018-03-01", "2000-06-05", null, "2026-06-05", "17 at the last contact: until the 26th birthday")]
    [InlineData("england", "2018-03-01", "2000-03-01", null, "2026-03-01", "18 on that very day: an adult")]
    [InlineData("england", "2018-03-01", "2000-03-02", null, "2026-03-02", "18 on the day after: 17 still")]
    [InlineData("england", "2018-03-01", null, null, "2026-03-01", "a birth date that is not known makes nobody a child")]
    [InlineData("england", "2018-03-01", "1960-05-05", "2020-01-02", "2028-01-02", "a death after the last contact counts")]
    [InlineData("england", "2018-03-01", "1960-05-05", "2017-01-02", "2026-03-01", "a death before it, by mistake, shortens nothing")]
    [InlineData("england", "2016-02-29", "1960-05-05", null, "2024-02-29", "a leap day")]
    [InlineData("australia", "2018-03-01", "2000-06-05", null, "2025-06-05", "no rule of its own for those who were 17")]
    [InlineData("germany", "2018-03-01", "2010-06-05", null, "2028-03-01", "no rule for children is known: the years alone")]
    [InlineData("scotland", "2018-03-01", "1960-05-05", null, "2024-03-01", "six years")]
    public void The_day_follows_from_contact_birth_and_death(string jurisdiction, string contact, string? birth, string? death, string due, string why)
    {
        var found = RetentionRule.Table.Single(r => r.Id == jurisdiction).Of(DateOnly.Parse(contact), Day(birth), Day(death));
        Assert.True(found.On == DateOnly.Parse(due), $"{why}: {found}");

        static DateOnly? Day(string? text) => text is null ? null : DateOnly.Parse(text);
    }

    [Fact]
    public void A_birthday_never_shortens_what_is_kept_of_an_adolescent()
    {
        var rule = RetentionRule.Table.Single(r => r.Id == "england") with { Years = 20 };
        Assert.Equal(DateOnly.Parse("2038-03-01"), rule.Of(DateOnly.Parse("2018-03-01"), DateOnly.Parse("2001-05-05"), null).On);
    }

    [Fact]
    public void Every_row_says_where_it_is_from_and_how_well_that_is_known()
    {
        Assert.True(RetentionRule.Table.Count >= 9);
        Assert.All(RetentionRule.Table, r =>
        {
            Assert.Matches("^[a-z]+(-[a-z]+)*$", r.Id);
            Assert.True(r.Source.Length > 20 && r.Remark.Length > 10, r.Id);
            Assert.Contains(r.Read, new[] { "read", "summary", "from memory" });
            Assert.True(r.Years is null or (>= 5 and <= 30), r.Id);
        });
        // What keeps the papers of compliance is no rule for a record, so no number may be taken from it.
        Assert.Null(RetentionRule.Table.Single(r => r.Id == "united-states").Years);
        Assert.Equal(RetentionRule.Table.Count, RetentionRule.Table.Select(r => r.Id).Distinct().Count());
    }

    [Theory]
    [InlineData("Jurisdiction is 'atlantis'; name one of england", "Jurisdiction=atlantis")]
    [InlineData("Jurisdiction is not set", "Years=9")]
    [InlineData("Years is 0; give 1 to 100", "Jurisdiction=england", "Years=0", "Source=policy")]
    [InlineData("ChildUntilIfSeventeen are 12", "Jurisdiction=england", "ChildUntil=12", "Source=policy")]
    [InlineData("Source is not set", "Jurisdiction=england", "Years=9")]
    [InlineData("has no period of its own", "Jurisdiction=united-states")]
    public void A_setting_that_is_no_rule_stops_the_start_and_says_why(string said, params string[] settings) =>
        Assert.Contains(said, Assert.Throws<InvalidOperationException>(() => Read(settings)).Message, StringComparison.Ordinal);

    [Fact]
    public void The_operator_chooses_a_row_and_may_set_other_figures_with_their_source()
    {
        Assert.Null(Read([]).Retention.Rule());
        Assert.Equal(8, Read(["Jurisdiction=england"]).Retention.Rule()!.Years);
        var own = Read(["Jurisdiction=united-states", "Years=7", "ChildUntil=21", "Source=Law of the state"]).Retention.Rule()!;
        Assert.Equal((7, 21, null, "Law of the state", "set by the operator"), (own.Years, own.ChildUntil, own.ChildUntilIfSeventeen, own.Source, own.Read));
        Assert.Equal("7 years after the last contact, and of children until the 21st birthday", own.Words);
    }

    private static Settings Read(string[] settings) => Settings.Read(new ConfigurationBuilder()
        .AddInMemoryCollection(settings.Select(s => s.Split('=', 2)).Select(p => KeyValuePair.Create("RehabRecords:Retention:" + p[0], (string?)p[1]))).Build());
}
