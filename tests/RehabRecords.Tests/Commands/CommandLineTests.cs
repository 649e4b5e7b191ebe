using RehabRecords.Commands;

namespace RehabRecords.Tests.Commands;

public class CommandLineTests
{
    [Theory]
    [InlineData("", "serve", false)]
    [InlineData("serve", "serve", false)]
    [InlineData("demo", "demo", false)]
    [InlineData("demo --once", "demo", true)]
    [InlineData("demo --data /tmp/x --once --urls http://127.0.0.1:5099", "demo", true)]
    [InlineData("help", "help", false)]
    [InlineData("demo --help", "help", false)]
    public void A_command_is_understood(string typed, string verb, bool once)
    {
        var line = CommandLine.Parse(Words(typed));
        Assert.Equal((verb, once), (line.Verb, line.Once));
    }

    [Theory]
    [InlineData("demoo", "'demoo' is not a command")]
    [InlineData("--onse", "'--onse' is not a command or option")]
    [InlineData("demo --data", "--data needs a value")]
    [InlineData("--once", "--once belongs to the demo command")]
    [InlineData("--data x demo", "'demo' is not a command or option")]
    public void A_typing_error_is_refused_and_points_to_help(string typed, string said)
    {
        var refused = Assert.Throws<FormatException>(() => CommandLine.Parse(Words(typed)));
        Assert.Contains(said, refused.Message, StringComparison.Ordinal);
        Assert.Contains("help", refused.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void The_address_to_listen_on_is_also_the_one_that_is_told_to_others()
    {
        var settings = CommandLine.Parse(Words("--urls http://127.0.0.1:5099/")).Settings;
        Assert.Contains("--RehabRecords:PublicUrl=http://127.0.0.1:5099", settings);
        Assert.Contains("--urls=http://127.0.0.1:5099/", settings);
    }

    [Fact]
    public void The_demo_keeps_its_record_apart_from_the_plain_store()
    {
        var folder = Path.GetFullPath(Path.Combine("data", "demo"));
        Assert.Contains($"--RehabRecords:DataFolder={folder}", CommandLine.Parse(["demo"]).Settings);
        Assert.DoesNotContain(CommandLine.Parse([]).Settings, s => s.Contains("DataFolder", StringComparison.Ordinal));
    }

    [Fact]
    public void A_named_folder_comes_after_the_default_one_and_so_wins()
    {
        var settings = CommandLine.Parse(Words("demo --data here")).Settings;
        Assert.Equal($"--RehabRecords:DataFolder={Path.GetFullPath("here")}", settings.Last(s => s.Contains("DataFolder", StringComparison.Ordinal)));
    }

    [Fact]
    public void Settings_of_the_service_and_the_host_are_passed_on() =>
        Assert.Equal(
            ["--RehabRecords:TimeZone=Europe/Dublin", "--environment=Development"],
            CommandLine.Parse(Words("--RehabRecords:TimeZone Europe/Dublin --environment=Development")).Settings[^2..]);

    private static string[] Words(string typed) => typed.Split(' ', StringSplitOptions.RemoveEmptyEntries);
}
