using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

public abstract partial class RecordStoreContract
{
    private const string Ucum = "http://unitsofmeasure.org";

    [Theory]
    [InlineData("subject:Patient.family=stone", "a1 a2")]
    [InlineData("subject.family=stone", "a1 a2")]
    [InlineData("patient.family=stone", "a1 a2")]
    [InlineData("patient.identifier=https://clinic.example/ids|P-2", "b1")]
    [InlineData("patient.gender:not=female", "b1")]
    [InlineData("patient.birthdate:missing=true", "b1")]
    [InlineData("patient._id=p1,p2", "a1 a2 b1")]
    [InlineData("patient._lastUpdated=gt2020", "a1 a2 b1")]
    [InlineData("patient.family=stone&code=pegs", "a1")]
    [InlineData("patient.family=nobody", "")]
    [InlineData("patient:Patient.family:exact=Stone,Rivers", "a1 a2 b1")]
    [InlineData("based-on.status=active", "a1")]
    public async Task Results_are_found_by_what_their_references_lead_to(string query, string ids)
    {
        await TwoPeopleAsync();
        Assert.Equal(ids, string.Join(' ', (await Store.IdsAsync("Observation", Written(query))).Order(StringComparer.Ordinal)));
    }

    [Theory]
    [InlineData("_has:Observation:patient:code=pegs", "p1")]
    [InlineData("_has:Observation:subject:code=walk", "p1 p2")]
    [InlineData("_has:Observation:patient:value-quantity=gt40", "p2")]
    [InlineData("_has:Observation:patient:status:not=final", "")]
    [InlineData("_has:Observation:patient:code=walk&family=rivers", "p2")]
    [InlineData("_has:Observation:patient:code=walk&_has:Observation:patient:code=pegs", "p1")]
    [InlineData("_has:CarePlan:patient:_id=x", "")]
    public async Task People_are_found_by_what_refers_to_them(string query, string ids)
    {
        await TwoPeopleAsync();
        Assert.Equal(ids, string.Join(' ', (await Store.IdsAsync("Patient", Written(query))).Order(StringComparer.Ordinal)));
    }

    [Theory]
    [InlineData("90|http://unitsofmeasure.org|s", "seconds minutes", "the same span in both units")]
    [InlineData("1.5|http://unitsofmeasure.org|min", "seconds minutes", "and asked in the other")]
    [InlineData("1.50|http://unitsofmeasure.org|min", "seconds minutes", "more digits, narrower, but still within")]
    [InlineData("gt1|http://unitsofmeasure.org|min", "seconds minutes", "60 s is not more than a minute")]
    [InlineData("ge1|http://unitsofmeasure.org|min", "sixty seconds minutes", "but as much")]
    [InlineData("le60|http://unitsofmeasure.org|s", "sixty", "compared as written in the same unit")]
    [InlineData("lt0.03|http://unitsofmeasure.org|h", "sixty seconds minutes", "hours")]
    [InlineData("90", "seconds repetitions", "without a unit the number alone")]
    [InlineData("90|http://unitsofmeasure.org|{reps}", "repetitions", "an annotation is a unit of its own")]
    [InlineData("90|http://unitsofmeasure.org|{score}", "", "and never another's, though both equal 1")]
    [InlineData("90|http://unitsofmeasure.org|1", "", "nor a plain 1")]
    [InlineData("90|http://unitsofmeasure.org|kg", "", "another dimension")]
    [InlineData("90||s", "seconds", "without a system the code as it stands")]
    public async Task Amounts_are_compared_across_units(string value, string ids, string why)
    {
        foreach (var (id, number, unit) in new[] { ("seconds", 90m, "s"), ("minutes", 1.5m, "min"), ("sixty", 60m, "s"), ("repetitions", 90m, "{reps}") })
            await Store.CreateAsync(new Observation { Id = id, Value = new Quantity(number, unit, Ucum) });
        Assert.True(ids.Split(' ', StringSplitOptions.RemoveEmptyEntries).Order().SequenceEqual((await Store.IdsAsync("Observation", "value-quantity=" + Uri.EscapeDataString(value))).Order()), why);
    }

    [Fact]
    public async Task Both_parts_of_a_composite_must_be_of_the_same_element()
    {
        var bloodPressure = new Observation
        {
            Id = "bp",
            Code = new CodeableConcept("urn:c", "panel"),
            Component =
            [
                new() { Code = new CodeableConcept("urn:c", "high"), Value = new Quantity(140, "mm[Hg]", Ucum) },
                new() { Code = new CodeableConcept("urn:c", "low"), Value = new Quantity(90, "mm[Hg]", Ucum) },
            ],
        };
        await Store.CreateAsync(bloodPressure);
        await Store.CreateAsync(new Observation { Id = "time", Code = new CodeableConcept("urn:c", "pegs"), Value = new Quantity(90, "s", Ucum) });

        Assert.Equal(["bp"], await Store.IdsAsync("Observation", "component-code-value-quantity=urn:c|high$gt120"));
        Assert.Empty(await Store.IdsAsync("Observation", "component-code-value-quantity=low$gt120"));
        Assert.Equal(["bp"], await Store.IdsAsync("Observation", "combo-code-value-quantity=low$90"));
        Assert.Equal(["time"], await Store.IdsAsync("Observation", Written("code-value-quantity=pegs$1.5|http://unitsofmeasure.org|min")));
        Assert.Equal(["time"], await Store.IdsAsync("Observation", "combo-code-value-quantity=pegs$le90,panel$1"));
        Assert.Equal(["bp"], await Store.IdsAsync("Observation", "combo-code-value-quantity:missing=false&component-code=low"));
    }

    [Fact]
    public async Task Definitions_referred_to_by_their_address_are_followed_to_the_version_that_is_named()
    {
        const string Url = "urn:template:reach";
        await Store.CreateAsync(new PlanDefinition { Id = "v1", Url = Url, Version = "1", Title = "First" });
        await Store.CreateAsync(new PlanDefinition { Id = "v2", Url = Url, Version = "2", Title = "Second" });
        await Store.CreateAsync(new CarePlan { Id = "one", InstantiatesCanonical = [Url + "|1"] });
        await Store.CreateAsync(new CarePlan { Id = "any", InstantiatesCanonical = [Url] });

        Assert.Equal(["one", "any"], await Store.IdsAsync("CarePlan", "instantiates-canonical:PlanDefinition.title=first"));
        Assert.Equal(["any"], await Store.IdsAsync("CarePlan", "instantiates-canonical.title=second"));
        Assert.Equal(["v1"], await Store.IdsAsync("PlanDefinition", "_has:CarePlan:instantiates-canonical:_id=one"));
        Assert.Equal("PlanDefinition/v1", Addresses((await PageAsync("CarePlan", "_id=one&_include=CarePlan:instantiates-canonical")).Included));
        Assert.Equal("CarePlan/any", Addresses((await PageAsync("PlanDefinition", "_id=v2&_revinclude=CarePlan:instantiates-canonical")).Included));
    }

    [Theory]
    [InlineData("Observation", "_id=a1&_include=Observation:patient", "Patient/p1")]
    [InlineData("Observation", "_id=a1&_include=*", "Patient/p1 ServiceRequest/s1")]
    [InlineData("Observation", "_id=a1&_include=Observation:*", "Patient/p1 ServiceRequest/s1")]
    [InlineData("Observation", "_id=a1&_include=Observation:*:Patient", "Patient/p1")]
    [InlineData("Observation", "_id=a1&_include=Observation:subject&_include=Patient:organization", null)]
    [InlineData("Observation", "_id=a1&_include=Observation:subject&_include:iterate=Patient:organization", "Organization/o1 Patient/p1")]
    [InlineData("Observation", "_id=a1&_include=Observation:based-on&_include:iterate=ServiceRequest:*&_include:iterate=Patient:organization", "Organization/o1 Patient/p1 ServiceRequest/s1")]
    [InlineData("Organization", "_revinclude=Patient:organization&_revinclude:iterate=Observation:patient", "Observation/a1 Observation/a2 Patient/p1")]
    [InlineData("Patient", "_id=p1&_revinclude=*", "Observation/a1 Observation/a2 ServiceRequest/s1")]
    [InlineData("Patient", "_id=p1&_revinclude=Observation:*", "Observation/a1 Observation/a2")]
    public async Task What_is_sent_along_follows_references_both_ways_and_further_where_asked(string type, string query, string? addresses)
    {
        await TwoPeopleAsync();
        if (addresses is null)
            Assert.Equal(Refusal.Malformed, (await Assert.ThrowsAsync<RefusedException>(() => PageAsync(type, query))).Refusal);
        else
            Assert.Equal(addresses, Addresses((await PageAsync(type, query)).Included));
    }

    [Fact]
    public async Task A_record_is_searched_by_type_or_whole_and_never_gives_anothers()
    {
        await TwoPeopleAsync();
        await Store.CreateAsync(new Communication { Id = "sent", Sender = new("Patient/p1") });
        async Task<string> InRecord(string person, string type, string query = "") =>
            Addresses((await Store.SearchAsync(SearchQuery.ParseInRecord(Store.Parameters, person, type, Pairs(query)))).Matches);

        Assert.Equal("Observation/a1 Observation/a2", await InRecord("p1", "Observation"));
        Assert.Equal("Observation/a1", await InRecord("p1", "Observation", "code=pegs"));
        Assert.Equal("", await InRecord("p1", "Observation", "patient=p2"));
        Assert.Equal("Communication/sent", await InRecord("p1", "Communication"));
        Assert.Equal("Communication/sent Observation/a1 Observation/a2 Patient/p1 ServiceRequest/s1", await InRecord("p1", "*"));
        Assert.Equal("Communication/sent Patient/p1", await InRecord("p1", "*", "_type=Communication,Patient"));
        Assert.Equal("", await InRecord("nobody", "Observation"));
        Assert.Equal(Refusal.NotFound, (await Assert.ThrowsAsync<RefusedException>(() => InRecord("p1", "Organization"))).Refusal);
    }

    [Fact]
    public async Task Several_types_are_searched_at_once_by_what_they_all_have()
    {
        await TwoPeopleAsync();
        async Task<string> Across(string query) => Addresses((await Store.SearchAsync(SearchQuery.ParseAcross(Store.Parameters, Pairs(query)))).Matches);

        Assert.Equal("Observation/a1 Observation/a2 ServiceRequest/s1", await Across("_type=Observation,ServiceRequest&patient=Patient/p1"));
        Assert.Equal("Observation/a1 ServiceRequest/s1", await Across("_type=Observation,ServiceRequest&_id=a1,s1"));
        Assert.Equal("Observation/a1 Observation/a2 ServiceRequest/s1", await Across("_type=Observation,ServiceRequest&patient.family=stone"));
        Assert.Equal(8, (await Across("_lastUpdated=gt2020")).Split(' ').Length);
        foreach (var bad in (string[])["", "_type=Observation,Medication", "_type=Observation,ServiceRequest&value-quantity=1", "_type=Binary", "_type=Patient,Observation&_has:Flag:patient:status=x"])
            Assert.Equal(Refusal.Malformed, (await Assert.ThrowsAsync<RefusedException>(() => Across(bad))).Refusal);
    }

    private async Task TwoPeopleAsync()
    {
        await Store.CreateAsync(new Organization { Id = "o1" });
        await Store.CreateAsync(new Patient { Id = "p1", Name = [new() { Family = "Stone" }], Gender = AdministrativeGender.Female, BirthDate = "1950", ManagingOrganization = new("Organization/o1") });
        await Store.CreateAsync(new Patient { Id = "p2", Name = [new() { Family = "Rivers" }], Identifier = [new(Samples.System, "P-2")] });
        await Store.CreateAsync(new ServiceRequest { Id = "s1", Status = RequestStatus.Active, Subject = new("Patient/p1") });
        foreach (var (id, person, code, number) in new[] { ("a1", "p1", "pegs", 30m), ("a2", "p1", "walk", 31m), ("b1", "p2", "walk", 50m) })
        {
            var result = Samples.Result(person, number);
            result.Id = id;
            result.Code = new CodeableConcept("urn:c", code);
            result.BasedOn = id == "a1" ? [new("ServiceRequest/s1")] : [];
            await Store.CreateAsync(result);
        }
        await Store.CreateAsync(new Practitioner { Id = "nobody" });
    }

    private Task<SearchPage> PageAsync(string type, string query) => Store.SearchAsync(SearchQuery.Parse(Store.Parameters, type, query));

    private static IEnumerable<KeyValuePair<string, string>> Pairs(string query) =>
        query.Split('&', StringSplitOptions.RemoveEmptyEntries).Select(p => KeyValuePair.Create(p.Split('=')[0], p.Split('=')[1]));

    private static string Written(string query) => query.Replace("|", "%7C", StringComparison.Ordinal);

    private static string Addresses(IEnumerable<RecordVersion> versions) => string.Join(' ', versions.Select(v => v.Address).Order(StringComparer.Ordinal));
}
