using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Search;

public class SearchQueryTests
{
    [Theory]
    [InlineData("Patient", "nmae=Ann", "'nmae'", "birthdate")]
    [InlineData("Observation", "bodysite=1", "'bodysite'", "has no such parameter")]
    [InlineData("Observation", "code:in=pegs", "'code:in'", "only :missing, :not, :text")]
    [InlineData("Observation", "code:of-type=a|b|c", "'code:of-type'", "not offered")]
    [InlineData("Patient", "identifier:of-type=a|b", "'identifier:of-type'", "with bars between them")]
    [InlineData("Patient", "family=a$b&family:of-type=x", "'family:of-type'", "not offered")]
    [InlineData("Patient", "family:fuzzy=x", "'family:fuzzy'", "only :missing, :exact, :contains")]
    [InlineData("Patient", "_id:not=1", "'_id:not'", "not offered")]
    [InlineData("Observation", "subject:Organization.name=x", "'subject:Organization.name'", "never leads to Organization")]
    [InlineData("Observation", "subject:Patient.nmae=x", "'subject:Patient.nmae'", "has a parameter 'nmae'")]
    [InlineData("Observation", "code.name=x", "'code.name'", "no reference parameter 'code'")]
    [InlineData("Observation", "subject.organization.name=x", "'subject.organization.name'", "two steps")]
    [InlineData("Observation", "subject:Patient._has:Flag:patient:status=x", "'subject:Patient._has:Flag:patient:status'", "two steps")]
    [InlineData("Patient", "_has:Observation:code:code=1", "'_has:Observation:code:code'", "_has:Observation:patient:code")]
    [InlineData("Patient", "_has:Observation:subject=1", "'_has:Observation:subject'", "_has:Observation:patient:code")]
    [InlineData("Patient", "_has:Observation:subject:subject.name=1", "'_has:Observation:subject:subject.name'", "two steps")]
    [InlineData("Organization", "_has:Observation:subject:code=1", "'_has:Observation:subject:code'", "never leads to Organization")]
    [InlineData("Observation", "date=March", "'date'", "'March' is not a date")]
    [InlineData("Observation", "date=2026-02-30", "'date'", "is not a date")]
    [InlineData("Observation", "date=xx2026", "'date'", "is not a date")]
    [InlineData("Observation", "value-quantity=ten", "'value-quantity'", "'ten' is not a number")]
    [InlineData("Observation", "value-quantity=1e99999999999", "'value-quantity'", "is not a number")]
    [InlineData("Observation", "value-quantity=79228162514264337593543950335", "'value-quantity'", "is not a number")]
    [InlineData("Observation", "value-quantity=5|s", "'value-quantity'", "is not a number")]
    [InlineData("Observation", "code=a|b|c", "'code'", "more than one bar")]
    [InlineData("Observation", "code=|", "'code'", "neither a system nor a code")]
    [InlineData("Observation", "code=a,,b", "'code'", "empty")]
    [InlineData("Observation", "date:missing=perhaps", "'date:missing'", "neither true nor false")]
    [InlineData("Observation", "_sort=code-value-quantity", "'_sort'", "cannot be sorted by 'code-value-quantity'")]
    [InlineData("Observation", "_sort=date,code,status,subject,_id,category", "'_sort'", "5 keys are the most")]
    [InlineData("Observation", "_count=-1", "'_count'", "whole number")]
    [InlineData("Observation", "_count=ten", "'_count'", "whole number")]
    [InlineData("Observation", "_total=all", "'_total'", "accurate")]
    [InlineData("Observation", "_include=Observation:code", "'_include'", "reference parameters")]
    [InlineData("Observation", "_include=Procedure:subject", "'_include'", "Observation is searched")]
    [InlineData("Observation", "_include:recurse=Observation:subject", "'_include:recurse'", ":iterate")]
    [InlineData("Observation", "_include=Observation:subject:Organization", "'_include'", "never leads to 'Organization'")]
    [InlineData("Observation", "_type=Patient", "'_type'", "has no such parameter")]
    [InlineData("Observation", "code-value-quantity=a", "'code-value-quantity'", "two values with a dollar sign")]
    [InlineData("Observation", "code-value-quantity=a$b$c", "'code-value-quantity'", "two values with a dollar sign")]
    [InlineData("Observation", "code-value-quantity=a$ten", "'code-value-quantity'", "'ten' is not a number")]
    public void A_search_that_is_not_understood_is_refused_naming_the_parameter_and_what_would_do(string type, string query, string names, string says)
    {
        var refused = Assert.Throws<RefusedException>(() => SearchQuery.Parse(TestIndex.Parameters, type, query));
        Assert.Equal(Refusal.Malformed, refused.Refusal);
        Assert.Contains(names, refused.Message, StringComparison.Ordinal);
        Assert.Contains(says, refused.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void Lenient_handling_passes_over_unknown_parameters_only_and_says_which_were_used()
    {
        var query = SearchQuery.Parse(TestIndex.Parameters, "Patient", "nmae=Ann&family=Ex%20ample&gender=&_count=5", lenient: true);
        Assert.Equal([new("family", "Ex ample"), new("_count", "5")], query.Used);
        Assert.Single(query.Criteria);
        Assert.Throws<RefusedException>(() => SearchQuery.Parse(TestIndex.Parameters, "Patient", "family:fuzzy=x", lenient: true));
    }

    [Fact]
    public void Backslashes_take_the_meaning_from_commas_bars_and_themselves()
    {
        var query = SearchQuery.Parse(TestIndex.Parameters, "Patient", @"family=a\,b,c\\d&identifier=s\|t|v");
        Assert.Equal(["a,b", @"c\d"], ((ValueCriterion)query.Criteria[0]).AnyOf.Cast<StringValue>().Select(v => v.Text));
        Assert.Equal(new TokenValue("s|t", "v"), ((ValueCriterion)query.Criteria[1]).AnyOf[0]);
    }

    [Fact]
    public void A_page_is_never_larger_than_the_limit() =>
        Assert.Equal(SearchQuery.LargestCount, SearchQuery.Parse(TestIndex.Parameters, "Patient", "_count=100000").Count);

    // From the list of official R4 parameters for each type: search-parameters of the specification, version 4.0.1.
    [Theory]
    [InlineData("Patient", "active address address-city birthdate deceased email family gender general-practitioner given identifier name organization phone telecom")]
    [InlineData("CarePlan", "activity-reference category date goal identifier instantiates-canonical intent patient performer replaces status subject")]
    [InlineData("ServiceRequest", "authored based-on code identifier instantiates-canonical occurrence patient requester status subject")]
    [InlineData("Observation", "based-on category code combo-code component-code date derived-from has-member identifier part-of patient performer status subject value-quantity value-string")]
    [InlineData("Procedure", "based-on category code date identifier part-of patient performer reason-code status subject")]
    [InlineData("Goal", "achievement-status category identifier lifecycle-status patient start-date subject target-date")]
    [InlineData("Composition", "attester author date entry identifier patient period related-id section status subject title type")]
    [InlineData("Task", "authored-on based-on code focus identifier modified owner patient status subject")]
    [InlineData("Flag", "author date identifier patient subject")]
    [InlineData("ActivityDefinition", "date identifier name status title topic url version")]
    [InlineData("QuestionnaireResponse", "author authored questionnaire source status subject")]
    [InlineData("Provenance", "agent entity patient recorded target when")]
    public void The_official_parameters_of_a_type_are_offered(string type, string codes)
    {
        foreach (var code in codes.Split(' ').Concat(["_id", "_lastUpdated", "_tag", "_profile", "_security", "_source"]))
            Assert.True(TestIndex.Parameters.Find(type, code) is not null, $"{type}?{code} is not offered.");
    }

    [Theory]
    [InlineData("combo-code", "code", "component-code")]
    [InlineData("combo-value-quantity", "value-quantity", "component-value-quantity")]
    [InlineData("combo-data-absent-reason", "data-absent-reason", "component-data-absent-reason")]
    public void A_parameter_made_of_others_is_looked_for_under_theirs_and_has_no_rows_of_its_own(string combined, string one, string other)
    {
        SearchParam Of(string code) => TestIndex.Parameters.Find("Observation", code)!;
        Assert.False(Of(combined).HasRows);
        Assert.Equal(new[] { Of(one).Key, Of(other).Key }.Order(), Of(combined).Keys.Order());
        Assert.True(Of(one).HasRows && Of(other).HasRows);
    }

    [Fact]
    public void Every_registered_type_has_parameters_and_no_other_type_has()
    {
        Assert.All(ResourceRegistry.Standard.Kinds, k => Assert.NotEmpty(TestIndex.Parameters.For(k.Type)));
        Assert.Empty(TestIndex.Parameters.For("Medication"));
        Assert.Equal(27, ResourceRegistry.Standard.Kinds.Count);
    }
}
