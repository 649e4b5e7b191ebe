using Microsoft.Extensions.Configuration;
using RehabRecords.Host;
using RehabRecords.Progress;

namespace RehabRecords.Tests.Progress;

/// <summary>What a clinic may set of the rules, and what stops the start.</summary>
public class ClinicRulesTests
{
    private static Settings Read(params (string Setting, string Value)[] set) => Settings.Read(new ConfigurationBuilder()
        .AddInMemoryCollection(set.Select(s => KeyValuePair.Create("RehabRecords:" + s.Setting, (string?)s.Value))).Build());

    [Fact]
    public void Without_settings_the_rules_that_ship_are_in_force()
    {
        var rules = Read().ClinicRules();
        Assert.Equal(ClinicRules.Default, rules);
        Assert.Null(rules.Progression.ClinicChanges);
        Assert.Equal("more-than-70", rules.Adherence.Id);
    }

    [Fact]
    public void A_limit_set_to_what_ships_changes_nothing() =>
        Assert.Equal("1", Read(("Progression:pain-during-most", "3")).ClinicRules().Progression.Version);

    [Fact]
    public void A_limit_set_otherwise_makes_a_version_of_its_own_that_depends_on_the_limits_alone()
    {
        var rules = Read(("Progression:pain-during-most", "2"), ("Progression:Success-Share", "0.9")).ClinicRules().Progression;
        Assert.Matches("^1-clinic-[0-9a-f]{8}$", rules.Version);
        Assert.Equal((2, 0.9m, 6), (rules["pain-during-most"], rules["success-share"], rules["pain-step-back"]));
        Assert.Equal("success-share 0.9 instead of 0.8, pain-during-most 2 instead of 3", rules.ClinicChanges);
        Assert.Contains("set by the clinic", rules.Limit("success-share").Source.Citation);
        Assert.Equal(rules.Version, Read(("Progression:success-share", "0.90"), ("Progression:pain-during-most", "2"), ("Progression:pain-rise", "2")).ClinicRules().Progression.Version);
        Assert.NotEqual(rules.Version, Read(("Progression:success-share", "0.91"), ("Progression:pain-during-most", "2")).ClinicRules().Progression.Version);
    }

    [Theory]
    [InlineData("80", "false", "at-least-80", "at least 80 % of what was prescribed")]
    [InlineData("70", "true", "more-than-70", "more than 70 % of what was prescribed")]
    [InlineData("62.5", "true", "clinic", "more than 62.5 % of what was prescribed")]
    [InlineData("100", "false", "clinic", "at least 100 % of what was prescribed")]
    public void The_clinic_defines_who_is_adherent(string percent, string strict, string id, string title)
    {
        var rule = Read(("Adherence:Percent", percent), ("Adherence:Strict", strict)).ClinicRules().Adherence;
        Assert.Equal((id, title), (rule.Id, rule.Title));
        Assert.Equal(id == "clinic", rule.Source.Citation == "set by the clinic");
    }

    [Theory]
    [InlineData("Progression:pain-during-most", "11", "pain-during-most is 11; allowed: 0 to 10")]
    [InlineData("Progression:pain-during", "3", "pain-during is 3; allowed: one of reports-needed")]
    [InlineData("Progression:pain-rise", "two", "is 'two'; give a number")]
    [InlineData("Progression:pain-rise", "1,5", "is '1,5'; give a number")]
    [InlineData("Progression:failure-share", "0.81", "allowed: 0 to 0.8")]
    [InlineData("Adherence:Percent", "0", "percent is 0; allowed: above 0, at most 100")]
    [InlineData("Adherence:Percent", "100", "below 100 when strict")]
    [InlineData("Adherence:Strict", "very", "is 'very'; give true (more than) or false (at least)")]
    public void A_setting_out_of_its_range_stops_the_start_and_says_what_is_allowed(string setting, string value, string message)
    {
        var refused = Assert.Throws<InvalidOperationException>(() => Read((setting, value)));
        Assert.StartsWith($"Setting RehabRecords:{setting}", refused.Message, StringComparison.Ordinal);
        Assert.Contains(message, refused.Message, StringComparison.Ordinal);
    }
}
