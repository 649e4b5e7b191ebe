using System.Net;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Pages;

public class LibraryPageTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Theory]
    [InlineData("", "Stacking coins", true, "all are listed when nothing is asked for")]
    [InlineData("COINS", "Stacking coins", true, "case does not matter")]
    [InlineData("buttons", "Stacking coins", true, "a household alternative is a word of it")]
    [InlineData("towel", "Stacking coins</a>", false, "another exercise has it")]
    [InlineData("pinch coins", "Stacking coins", true, "every word is looked for, in any place")]
    [InlineData("pinch zither", "Stacking coins</a>", false, "every word has to be there")]
    public async Task Exercises_are_found_by_a_word(string find, string title, bool found, string why)
    {
        var page = await new Browser(app).OpenAsync($"/library?find={Uri.EscapeDataString(find)}");
        Assert.True(page.Html.Contains(title, StringComparison.Ordinal) == found, why);
    }

    [Fact]
    public async Task The_page_of_an_exercise_says_all_of_every_version_and_where_it_is_used()
    {
        await app.PostAsync("/api/exercises", TradeApp.With(TradeApp.Exercise, ("version", "\"1.10.0\""), ("instructions", "\"Stack twelve coins.\"")));
        await app.PostAsync("/api/exercises", TradeApp.With(TradeApp.Exercise, ("version", "\"1.9.0\""), ("instructions", "\"Stack eleven coins.\"")));
        var (_, programme) = await app.ProgrammeAsync();
        var page = await new Browser(app).OpenAsync("/library/exercises/coin-stacking");
        foreach (var part in new[]
        {
            "Stack twelve coins.", "Fine pinch and placing.", "sitting at a table", "ten coins (or ten buttons)", "Do 3 sets of 10 repetitions", "the affected hand only",
            "with things set up by somebody", "The coin stays on the stack.", "Use smaller coins.", "Rest the wrist.", "Stop if the shoulder hurts.", "Take care (small objects, if children are about)",
            "Small tasks , level 2", "Prescribed in",
        })
            Assert.Contains(part, page.Text, StringComparison.Ordinal);
        // 1.10 is newer than 1.9, which is newer than 1.0.0; the newest stands first.
        Assert.True(page.Text.IndexOf("Stack twelve", StringComparison.Ordinal) < page.Text.IndexOf("Stack eleven", StringComparison.Ordinal));
        Assert.True(page.Text.IndexOf("Stack eleven", StringComparison.Ordinal) < page.Text.IndexOf("Stack ten", StringComparison.Ordinal));
        Assert.Contains($"/programmes/{programme}/desk", page.Html);
        Assert.Contains("3 versions.", (await new Browser(app).OpenAsync("/library")).Text);
    }

    [Fact]
    public async Task A_template_shows_its_levels_with_the_amounts_of_each()
    {
        var page = await new Browser(app).OpenAsync("/library/templates/small-tasks");
        Assert.Contains("Level 2: Smaller things", page.Text);
        Assert.Contains("Starts when: Level 1 goes well three times.", page.Text);
        Assert.Contains("Stacking coins Do 3 sets of 12 repetitions", page.Text);
    }

    [Theory]
    [InlineData("/library/exercises/nothing")]
    [InlineData("/library/templates/nothing")]
    public async Task What_the_library_does_not_have_is_not_found(string address)
    {
        using var response = await app.Http.GetAsync(address);
        Assert.Equal(HttpStatusCode.NotFound, response.StatusCode);
    }
}
