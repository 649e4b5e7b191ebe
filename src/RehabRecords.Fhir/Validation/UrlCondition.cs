using Firely.Fhir.Validation;
using Hl7.Fhir.Model;
using Newtonsoft.Json.Linq;

#pragma warning disable ExperimentalApi // See Schemas.

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// Which slice an extension belongs to, by its url. The library compiles the path "url" anew in every validation and evaluates it for
/// each extension and each slice; all that is asked of it is yes or no.
/// </summary>
internal sealed class UrlCondition : IValidatable
{
    private readonly PathSelectorValidator _asked;
    private readonly string _url;

    private UrlCondition(PathSelectorValidator asked, string url) => (_asked, _url) = (asked, url);

    public static SliceValidator In(SliceValidator slices, Func<IAssertion, IAssertion> rewritten) => new(
        slices.Ordered,
        slices.DefaultAtEnd,
        rewritten(slices.Default),
        slices.Slices.Select(s => new SliceValidator.SliceCase(s.Name, Of(s.Condition), rewritten(s.Assertion), s.Required)),
        slices.MultiCase);

    public ResultReport Validate(PocoNode input, ValidationSettings vc, ValidationState state) => input.Poco is Extension { Url: { } url }
        ? url == _url ? ResultReport.SUCCESS : ResultReport.FAILURE
        : ((IValidatable)_asked).Validate(input, vc, state);

    public JToken ToJson() => _asked.ToJson();

    private static IAssertion Of(IAssertion condition) =>
        condition is PathSelectorValidator { Path: "url", Other: FixedValidator { FixedValue.Poco: FhirUri { Value: { } url } } } asked ? new UrlCondition(asked, url) : condition;
}
