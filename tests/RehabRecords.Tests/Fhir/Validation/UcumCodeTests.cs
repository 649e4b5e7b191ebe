using RehabRecords.Fhir.Validation;

namespace RehabRecords.Tests.Fhir.Validation;

public class UcumCodeTests
{
    [Theory]
    [InlineData("kg")]
    [InlineData("N")]
    [InlineData("kgf")]
    [InlineData("[lbf_av]")]
    [InlineData("s")]
    [InlineData("min")]
    [InlineData("h")]
    [InlineData("d")]
    [InlineData("wk")]
    [InlineData("m/s")]
    [InlineData("cm")]
    [InlineData("deg")]
    [InlineData("%")]
    [InlineData("/min")]
    [InlineData("mm[Hg]")]
    [InlineData("{score}")]
    [InlineData("{reps}")]
    [InlineData("{#}")]
    [InlineData("{#}/(30.s)")]
    [InlineData("1")]
    [InlineData("mmol/L")]
    [InlineData("{blocks}/min")]
    [InlineData("kg{total}")]
    [InlineData("ug")]
    public void A_ucum_code_is_one(string code) => Assert.True(UcumCode.IsValid(code));

    [Theory]
    [InlineData("floops")]
    [InlineData("[RPE]")]
    [InlineData("seconds")]
    [InlineData("secs")]
    [InlineData("points")]
    [InlineData("KG")]
    [InlineData("")]
    [InlineData(" s")]
    [InlineData("s ")]
    [InlineData("{score")]
    [InlineData("score}")]
    [InlineData("{a{b}}")]
    [InlineData("µg")]
    [InlineData("(((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((((s")]
    public void Another_text_is_none(string code) => Assert.False(UcumCode.IsValid(code));
}
