namespace RehabRecords.Clinical.Tests;

public class GoalAttainmentTests
{
    public static TheoryData<int[], int[], double, string> Scores => new()
    {
        { [-2, 0, -1, 2, 0, 1], [3, 5, 1, 4, 2, 6], 55.0000, "computed on the published formula; the levels and weights are a public package's example" },
        { [0, 0, 0], [1, 1, 1], 50, "computed: all as expected" },
        { [1], [1], 60, "computed: one goal a level better" },
        { [1, 1], [1, 1], 62.4035, "computed: two" },
        { [1, 1, 1], [1, 1, 1], 63.6931, "computed: three" },
        { [-1, -1, -1], [1, 1, 1], 36.3069, "computed: three a level worse" },
        { [2, 2, 2], [1, 1, 1], 77.3861, "computed: best" },
        { [-2, -2, -2], [1, 1, 1], 22.6139, "computed: worst" },
        { [1, 0, 0], [1, 1, 1], 54.5644, "computed: one of three" },
        { [1, 0, -1], [3, 2, 1], 54.4065, "computed: weights differ" },
        { [-1, 1, 2], [2, 3, 1], 56.6098, "computed: weights differ" },
        { [0, 1, -1], [9, 4, 1], 52.6579, "computed: weights differ" },
    };

    [Theory]
    [MemberData(nameof(Scores))]
    public void T_score_by_the_corrected_formula(int[] levels, int[] weights, double expected, string source) =>
        Assert.True(Math.Abs(GoalAttainment.TScore(levels, weights)!.Value - expected) < 0.00006, source);

    [Fact(DisplayName = "computed: weights of 1, 1, 1 and 5, 5, 5 give the same score")]
    public void Scaling_weights_changes_nothing() =>
        Assert.Equal(GoalAttainment.TScore([1, 0, -2], [1, 1, 1])!.Value, GoalAttainment.TScore([1, 0, -2], [5, 5, 5])!.Value, 12);

    [Fact(DisplayName = "computed: three goals from -1 to 0 gain 13.69")]
    public void Change_over_the_same_goals()
    {
        var found = GoalAttainment.Of([Goal("a", -1, 0), Goal("b", -1, 0), Goal("c", -1, 0)]);
        Assert.Equal(13.6931, found.Change!.Value, 4);
        Assert.Equal(50, found.Outcome);
        Assert.Contains("a -1 to 0", found.Text);
        Assert.Contains("36.3 at the start, 50.0 now", found.Text);
        Assert.Equal(["a/e", "b/e", "c/e"], found.Evidence);
    }

    [Fact]
    public void A_goal_without_both_levels_enters_neither_score()
    {
        var found = GoalAttainment.Of([Goal("a", -1, 1), Goal("b", null, 2), Goal("c", -2, null), Goal("d", -1, 2) with { Importance = 0 }]);
        Assert.Equal(40, found.Baseline);
        Assert.Equal(60, found.Outcome);
        Assert.Equal(["b: no level at the start", "c: no level now", "d: weight 0"], found.LeftOut);
        Assert.Contains("Left out: b: no level at the start; c: no level now; d: weight 0.", found.Text);
        Assert.Contains("a -1 to +1", found.Text);
        Assert.Equal(["a/e"], found.Evidence);
    }

    [Fact]
    public void No_goals_or_no_weight_is_no_score_rather_than_50()
    {
        Assert.Null(GoalAttainment.TScore([], []));
        Assert.Null(GoalAttainment.TScore([2, 1], [0, 0]));
        var none = GoalAttainment.Of([]);
        Assert.Null(none.Change);
        Assert.Equal("No goal has both a level at the start and one now.", none.Text);
    }

    [Fact]
    public void Weight_is_importance_times_difficulty()
    {
        Assert.Equal(6, (Goal("a", 0, 0) with { Importance = 2, Difficulty = 3 }).Weight);
        Assert.Equal(2, (Goal("a", 0, 0) with { Importance = 2 }).Weight);
        Assert.Equal(1, Goal("a", 0, 0).Weight);
    }

    [Theory]
    [InlineData(3, 1, "level")]
    [InlineData(-3, 1, "level")]
    [InlineData(0, -1, "weight")]
    public void Out_of_range_is_refused(int level, int weight, string element) =>
        Assert.Equal(element, Assert.Throws<UnfitInputException>(() => GoalAttainment.TScore([level], [weight])).Problem.Element);

    [Fact]
    public void Every_part_of_a_goal_is_checked()
    {
        Assert.Equal("importance", Refused(Goal("a", 0, 0) with { Importance = 4 }));
        Assert.Equal("difficulty", Refused(Goal("a", 0, 0) with { Difficulty = -1 }));
        Assert.Equal("baseline", Refused(Goal("a", -3, 0)));
        Assert.Equal("outcome", Refused(Goal("a", 0, 3)));
        Assert.Throws<UnfitInputException>(() => GoalAttainment.TScore([1], [1, 1]));

        static string Refused(AttainedGoal goal) => Assert.Throws<UnfitInputException>(() => GoalAttainment.Of([goal])).Problem.Element;
    }

    private static AttainedGoal Goal(string id, int? baseline, int? outcome) => new(id, null, null, baseline, outcome, [$"{id}/e"]);
}
