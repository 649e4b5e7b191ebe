using Hl7.Fhir.Model;

namespace RehabRecords.Tests.Fhir.Store;

public abstract partial class RecordStoreContract
{
    [Fact]
    public async Task Texts_longer_than_an_entry_of_an_index_are_stored_and_found_as_any_other()
    {
        // What does not repeat, so that no engine can make it short.
        var random = new Random(7);
        string Long(int length) => string.Concat(Enumerable.Range(0, length).Select(_ => (char)('a' + random.Next(26))));
        var (value, name, address, description) = (Long(6000), Long(6000), "https://clinic.example/" + Long(6000), $"{Long(4000)} needle {Long(4000)}");
        var patient = Samples.Person(value, name);
        await Store.CreateAsync(patient);
        await Store.CreateAsync(Samples.Person(value[..^1] + "!", name[..^1] + "!"));
        var template = new ActivityDefinition { Status = PublicationStatus.Active, Url = address, Title = description };
        await Store.CreateAsync(template);
        var about = Samples.Result(patient.Id!, 1);
        about.Focus = [new ResourceReference(address + "/Group/1")];
        await Store.CreateAsync(about);

        Assert.Equal(patient.Id, await Store.HolderOfAsync("Patient", Samples.System, value));
        Assert.Equal([patient.Id!], await Store.IdsAsync("Patient", $"identifier={Samples.System}|{value}"));
        Assert.Equal(2, (await Store.IdsAsync("Patient", $"family={name[..200]}")).Count);
        Assert.Equal(2, (await Store.IdsAsync("Patient", $"family={name[..5000]}")).Count);
        Assert.Equal([patient.Id!], await Store.IdsAsync("Patient", $"family={name}"));
        Assert.Equal([patient.Id!], await Store.IdsAsync("Patient", $"family:exact={name}"));
        Assert.Equal([template.Id!], await Store.IdsAsync("ActivityDefinition", $"url={address}"));
        Assert.Equal([template.Id!], await Store.IdsAsync("ActivityDefinition", "title:contains=needle"));
        Assert.Equal([about.Id!], await Store.IdsAsync("Observation", $"focus={address}/Group/1"));
        await Store.DeleteAsync("Observation", about.Id!, 1);
        await Store.DeleteAsync("Patient", patient.Id!, 1);
        Assert.Null(await Store.HolderOfAsync("Patient", Samples.System, value));
    }

    [Theory]
    [InlineData("Patient", "family=a\0b")]
    [InlineData("Patient", "family:contains=\0")]
    [InlineData("Patient", "identifier=\0|\0")]
    [InlineData("Observation", "subject=Patient/\0")]
    [InlineData("ActivityDefinition", "url=urn:\0")]
    public async Task A_character_that_no_stored_text_has_finds_nothing(string type, string query)
    {
        await Store.CreateAsync(Samples.Person("1"));
        Assert.Empty(await Store.IdsAsync(type, query));
    }
}
