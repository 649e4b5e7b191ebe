namespace RehabRecords.Clinical;

/// <summary>
/// Measurement error of one person: standard error of measurement and minimal detectable change. SRD, SDD and SDC are
/// other names of the detectable change at 95 %. The factors 1.96 and 1.645 are those the papers print, not more digits.
/// </summary>
public static class MeasurementError
{
    /// <summary>1.96 × √2: detectable change at 95 % over the standard error of measurement.</summary>
    public static readonly double Factor95 = 1.96 * Math.Sqrt(2);

    /// <summary>1.645 × √2: detectable change at 90 % over the standard error of measurement.</summary>
    public static readonly double Factor90 = 1.645 * Math.Sqrt(2);

    /// <summary>SEM = SD × √(1 − ICC), in the unit of the SD.</summary>
    /// <param name="sd">Standard deviation, 0 or more.</param>
    /// <param name="icc">Reliability (intraclass correlation), 0 to 1.</param>
    /// <exception cref="UnfitInputException">SD below 0 or not finite; ICC outside 0 to 1.</exception>
    public static double StandardError(double sd, double icc)
    {
        NotNegative("sd", sd);
        if (!(icc is >= 0 and <= 1))
            throw new UnfitInputException("icc", $"{icc}", "0 to 1", "give the reliability as a share");
        return sd * Math.Sqrt(1 - icc);
    }

    /// <summary>Detectable change from the standard error of measurement.</summary>
    /// <param name="standardError">SEM, 0 or more.</param>
    /// <param name="level">Confidence level in per cent: 90 or 95.</param>
    /// <exception cref="UnfitInputException">SEM below 0; a level other than 90 or 95.</exception>
    public static double DetectableChange(double standardError, int level = 95) => Factor(level) * NotNegative("standardError", standardError);

    /// <summary>Standard error of measurement behind a published detectable change.</summary>
    /// <inheritdoc cref="DetectableChange" path="/exception"/>
    public static double StandardErrorOf(double detectableChange, int level = 95) => NotNegative("detectableChange", detectableChange) / Factor(level);

    /// <summary>What limits of agreement say: bias is their middle; half their width is the detectable change at 95 %; SEM = SD of differences / √2.</summary>
    /// <param name="lower">Lower limit.</param>
    /// <param name="upper">Upper limit, not below the lower.</param>
    /// <exception cref="UnfitInputException">The limits are not finite or change places.</exception>
    public static AgreementReading FromLimitsOfAgreement(double lower, double upper)
    {
        if (!double.IsFinite(lower) || !double.IsFinite(upper) || upper < lower)
            throw new UnfitInputException("upper", $"{upper}", $"a number not below {lower}", "give the lower limit first");
        var half = (upper - lower) / 2;
        var sdOfDifferences = half / 1.96;
        return new((lower + upper) / 2, sdOfDifferences, sdOfDifferences / Math.Sqrt(2), half);
    }

    /// <summary>
    /// Reliable change index (Jacobson &amp; Truax 1991 J Consult Clin Psychol 59:12-19): (post − pre) / (√2 × SD × √(1 − r)).
    /// The change is reliable when its size is above 1.96. Null when r is 1 or SD is 0: then every change is beyond error.
    /// </summary>
    /// <param name="pre">First value.</param>
    /// <param name="post">Second value.</param>
    /// <param name="sd">Standard deviation before, 0 or more.</param>
    /// <param name="reliability">0 to 1.</param>
    /// <inheritdoc cref="StandardError" path="/exception"/>
    public static double? ReliableChangeIndex(double pre, double post, double sd, double reliability)
    {
        var error = Math.Sqrt(2) * StandardError(sd, reliability);
        return error == 0 ? null : (post - pre) / error;
    }

    private static double Factor(int level) => level switch
    {
        95 => Factor95,
        90 => Factor90,
        _ => throw new UnfitInputException("level", $"{level}", "90 or 95", "use the level the paper states"),
    };

    private static double NotNegative(string element, double value) =>
        double.IsFinite(value) && value >= 0 ? value : throw new UnfitInputException(element, $"{value}", "a number of 0 or more", "check the value");
}

/// <summary>What limits of agreement say.</summary>
/// <param name="Bias">Mean difference.</param>
/// <param name="SdOfDifferences">Standard deviation of the differences.</param>
/// <param name="StandardError">Standard error of measurement.</param>
/// <param name="DetectableChange">Detectable change at 95 %.</param>
public sealed record AgreementReading(double Bias, double SdOfDifferences, double StandardError, double DetectableChange);
