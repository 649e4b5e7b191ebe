using CsCheck;

namespace RehabRecords.Clinical.Tests;

/// <summary>Laws that hold for any data, tried on random series. Quarters keep the arithmetic exact, so that equality is equality.</summary>
public class LawTests
{
    private static readonly Gen<double> Quarter = Gen.Int[-400, 400].Select(i => i / 4.0);
    private static readonly Gen<double[]> Values = Quarter.Array[2, 16];

    private static readonly Gen<(double[] X, double[] Y)> Points =
        Gen.Int[2, 16].SelectMany(n => Gen.Select(Gen.Int[0, 40].Select(i => (double)i).Array[n], Quarter.Array[n]));

    [Fact]
    public void The_slope_scales_with_the_values_and_ignores_where_they_start() => Points.Sample(points =>
    {
        var line = TheilSen.Fit(points.X, points.Y);
        var moved = TheilSen.Fit([.. points.X.Select(v => v + 7)], [.. points.Y.Select(v => 4 * v + 3)]);
        if (line is null)
            return moved is null;
        return Near(moved!.Slope, 4 * line.Slope) && Near(moved.Low, 4 * line.Low) && Near(moved.High, 4 * line.High) && Near(moved.StandardError, 4 * line.StandardError);
    });

    [Fact]
    public void Mirrored_values_mirror_slope_interval_and_test() => Points.Sample(points =>
    {
        var (x, y) = points;
        double[] mirrored = [.. y.Select(v => -v)];
        var (line, mirror) = (TheilSen.Fit(x, y), TheilSen.Fit(x, mirrored));
        var (test, other) = (MannKendall.Of(x, y), MannKendall.Of(x, mirrored));
        return test.S == -other.S && Near(test.P, other.P) && Near(test.Z, -other.Z)
            && (line is null || (Near(line.Slope, -mirror!.Slope) && Near(line.Low, -mirror.High) && Near(line.High, -mirror.Low)));
    });

    [Fact]
    public void The_interval_holds_the_slope() => Points.Sample(points =>
        TheilSen.Fit(points.X, points.Y) is not { Low: { } low, High: { } high } line || (low <= line.Slope && line.Slope <= high));

    [Fact]
    public void Order_of_arrival_never_matters_to_slope_and_test() => Gen.Select(Points, Gen.Int[1, int.MaxValue]).Sample((points, seed) =>
    {
        int[] order = [.. Enumerable.Range(0, points.X.Length).OrderBy(i => (i + 1L) * seed % 1009).ThenBy(i => i)];
        double[] x = [.. order.Select(i => points.X[i])], y = [.. order.Select(i => points.Y[i])];
        var (line, again) = (TheilSen.Fit(points.X, points.Y), TheilSen.Fit(x, y));
        var (test, second) = (MannKendall.Of(points.X, points.Y), MannKendall.Of(x, y));
        return test.S == second.S && Near(test.P, second.P)
            && (line is null || (Near(line.Slope, again!.Slope) && Near(line.Intercept, again.Intercept) && Near(line.Low, again.Low)));
    });

    [Fact]
    public void The_test_sees_order_only_and_p_is_a_probability() => Values.Sample(y =>
    {
        double[] x = [.. Enumerable.Range(0, y.Length).Select(i => (double)i)];
        var (test, cubed) = (MannKendall.Of(x, y), MannKendall.Of(x, [.. y.Select(v => v * v * v)]));
        return test.S == cubed.S && Near(test.P, cubed.P) && test.P is >= 0 and <= 1 && Math.Abs(test.S) <= y.Length * (y.Length - 1) / 2;
    });

    [Fact]
    public void Reliable_change_is_a_change_above_the_detectable_one_of_the_same_error() =>
        Gen.Select(Quarter, Quarter, Gen.Double[0.1, 50], Gen.Double[0, 0.99]).Sample((pre, post, sd, r) =>
        {
            var mdc = MeasurementError.DetectableChange(MeasurementError.StandardError(sd, r));
            var index = MeasurementError.ReliableChangeIndex(pre, post, sd, r)!.Value;
            return Math.Abs(Math.Abs(post - pre) - mdc) < 1e-9 || (Math.Abs(index) > 1.96) == (Math.Abs(post - pre) > mdc);
        });

    [Fact]
    public void Detectable_change_grows_with_error_and_level_and_undoes() => Gen.Select(Gen.Double[0, 100], Gen.Double[0, 100]).Sample((a, b) =>
        MeasurementError.DetectableChange(a) >= MeasurementError.DetectableChange(a, 90)
        && (a <= b) == (MeasurementError.DetectableChange(a) <= MeasurementError.DetectableChange(b))
        && Near(MeasurementError.StandardErrorOf(MeasurementError.DetectableChange(a, 90), 90), a));

    [Fact]
    public void Goal_scores_mirror_scale_and_rise_with_any_level() =>
        Gen.Select(Gen.Int[-2, 2], Gen.Int[1, 9]).Array[1, 8].Sample(goals =>
        {
            int[] x = [.. goals.Select(g => g.Item1)], w = [.. goals.Select(g => g.Item2)];
            var t = GoalAttainment.TScore(x, w)!.Value;
            var raised = Array.FindIndex(x, level => level < 2);
            return Near(t + GoalAttainment.TScore([.. x.Select(v => -v)], w), 100)
                && Near(t, GoalAttainment.TScore(x, [.. w.Select(v => 3 * v)]))
                && Near(t, GoalAttainment.TScore([.. x, -2], [.. w, 0]))
                && (raised < 0 || GoalAttainment.TScore([.. x.Select((v, i) => i == raised ? v + 1 : v)], w) > t);
        });

    [Fact]
    public void A_larger_change_never_falls_to_a_lower_class() =>
        Gen.Select(Gen.Int[0, 400], Gen.Int[0, 50], Gen.Int[0, 400], Gen.Int[0, 400]).Sample((size, more, error, importance) =>
        {
            static (bool Detected, bool Important) Reached(ChangeClass kind) => (
                kind is ChangeClass.Both or ChangeClass.DetectableBelowImportant or ChangeClass.DetectableImportanceUnknown,
                kind is ChangeClass.Both or ChangeClass.ImportantWithinError or ChangeClass.ImportantErrorUnknown);
            // 0 stands for "not published".
            decimal? mdc = error == 0 ? null : error, mcid = importance == 0 ? null : importance;
            var (small, large) = (Reached(MeasureChange.Classify(size, mdc, mcid)), Reached(MeasureChange.Classify(size + more, mdc, mcid)));
            return (!small.Detected || large.Detected) && (!small.Important || large.Important) && small.Detected == (size >= mdc) && small.Important == (size >= mcid);
        });

    [Fact]
    public void Swapping_two_results_swaps_better_and_worse_and_keeps_the_class() =>
        Gen.Select(Gen.Int[0, 57], Gen.Int[0, 57]).Sample((a, b) =>
        {
            MeasureChange Between(int from, int to) => MeasureChange.Between(MeasureCatalogue.Default.Get("arat"),
                new("arat", DateTimeOffset.UnixEpoch, MeasureStatus.Completed, from, Side.Left, "a"),
                new("arat", DateTimeOffset.UnixEpoch.AddDays(1), MeasureStatus.Completed, to, Side.Left, "b"), new(Side.Left));
            var (there, back) = (Between(a, b), Between(b, a));
            var mirrored = there.Direction switch
            {
                ChangeDirection.Improved => ChangeDirection.Worsened,
                ChangeDirection.Worsened => ChangeDirection.Improved,
                var same => same,
            };
            return there.Class == back.Class && there.Difference == -back.Difference && back.Direction == mirrored;
        });

    [Fact]
    public void A_norm_is_mirrored_about_its_mean() => Gen.Select(Gen.Int[20, 94], Gen.Int[-20, 20], Gen.Bool).Sample((age, away, male) =>
    {
        var person = new PersonContext(BirthDate: new(2026 - age, 1, 1), Sex: male ? Sex.Male : Sex.Female);
        NormComparison At(string measure, decimal value, string? unit) => Norms.Compare(
            new(measure, new(2026, 6, 1, 9, 0, 0, TimeSpan.Zero), MeasureStatus.Completed, value, Side.Right, "e") { Unit = unit }, person);
        var (grip, peg) = (At("grip-strength", 50, "[lbf_av]").Cell, At("nine-hole-peg", 20, null).Cell);
        return Near(At("grip-strength", grip.Mean + away, "[lbf_av]").Z, (double)(away / grip.Sd))
            && Near(At("nine-hole-peg", peg.Mean + away / 4m, null).Z, (double)(-away / 4m / peg.Sd));
    });

    private static bool Near(double? a, double? b) =>
        (a is null) == (b is null) && (a is null || Math.Abs(a.Value - b!.Value) <= 1e-9 * Math.Max(1, Math.Abs(a.Value)));
}
