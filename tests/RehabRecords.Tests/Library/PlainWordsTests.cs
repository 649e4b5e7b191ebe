using RehabRecords.Library;

namespace RehabRecords.Tests.Library;

public sealed class PlainWordsTests
{
    [Theory]
    [InlineData(2, "Do 2 sets of 10 repetitions. Rest for 30 seconds between sets.")]
    [InlineData(1, "Do 1 set of 10 repetitions. Rest for 30 seconds afterwards.")]
    [InlineData(null, "Do 10 repetitions. Rest for 30 seconds afterwards.")]
    public void A_rest_is_between_sets_only_where_there_are_several(int? sets, string words) =>
        Assert.Equal(words, PlainWords.Dosage(new DosageRequest { Sets = sets, Repetitions = 10, RestSeconds = 30 }));
}
