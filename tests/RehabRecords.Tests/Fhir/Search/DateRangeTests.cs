using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Tests.Fhir.Search;

public class DateRangeTests
{
    [Theory]
    [InlineData("2026", "2026-01-01T00:00:00Z", "2027-01-01T00:00:00Z", "a year")]
    [InlineData("2026-12", "2026-12-01T00:00:00Z", "2027-01-01T00:00:00Z", "the last month of a year")]
    [InlineData("2024-02-29", "2024-02-29T00:00:00Z", "2024-03-01T00:00:00Z", "a leap day")]
    [InlineData("2026-03-01T10:30Z", "2026-03-01T10:30:00Z", "2026-03-01T10:31:00Z", "a minute")]
    [InlineData("2026-03-01T10:30", "2026-03-01T10:30:00Z", "2026-03-01T10:31:00Z", "no zone: UTC")]
    [InlineData("2026-03-01T10:30+01:00", "2026-03-01T09:30:00Z", "2026-03-01T09:31:00Z", "a zone east of UTC")]
    [InlineData("2026-03-01T10:30:05-05:00", "2026-03-01T15:30:05Z", "2026-03-01T15:30:06Z", "a zone west of UTC")]
    [InlineData("2026-03-01T10:30:05.25Z", "2026-03-01T10:30:05.25Z", "2026-03-01T10:30:05.26Z", "hundredths")]
    [InlineData("2026-03-01T10:30:05 01:00", "2026-03-01T09:30:05Z", "2026-03-01T09:30:06Z", "a plus that arrived as a blank")]
    public void A_date_spans_what_its_precision_leaves_open(string text, string start, string finish, string why)
    {
        var range = DateRange.Parse(text);
        Assert.True(range is not null, why);
        Assert.Equal((DateTimeOffset.Parse(start), DateTimeOffset.Parse(finish)), (DateRange.Time(range!.Value.Start), DateRange.Time(range.Value.Finish)));
    }

    [Theory]
    [InlineData("")]
    [InlineData("26")]
    [InlineData("2026-13")]
    [InlineData("2026-02-30")]
    [InlineData("2026-03-01T25:00:00Z")]
    [InlineData("01/03/2026")]
    [InlineData("2026-03-01 ")]
    public void What_is_no_date_has_no_span(string text) => Assert.Null(DateRange.Parse(text));

    [Fact]
    public void The_last_year_there_is_does_not_overflow() => Assert.Equal(DateRange.End, DateRange.Parse("9999")!.Value.Finish);

    [Fact]
    public void An_open_period_reaches_to_the_end_of_time()
    {
        var range = DateRange.Of(new Period { Start = "2026-03-01" })!.Value;
        Assert.Equal((DateRange.Parse("2026-03-01")!.Value.Start, DateRange.End), (range.Start, range.Finish));
        Assert.Null(DateRange.Of(new Period()));
    }
}
