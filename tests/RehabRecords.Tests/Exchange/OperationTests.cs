using System.Net;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Rest;

namespace RehabRecords.Tests.Exchange;

/// <summary>The same two steps over FHIR.</summary>
public class OperationTests(Teams teams) : IClassFixture<Teams>
{
    [Fact]
    public async System.Threading.Tasks.Task A_programme_goes_out_and_comes_in_by_operations()
    {
        var (person, programme) = await teams.PrescribedAsync();
        var url = $"/fhir/CarePlan/{programme}/$hand-over?recipient={Teams.Recipient(Teams.Community)}";
        var sent = await teams.Here.Http.GetByteArrayAsync(url);
        Assert.Equal(await teams.Here.Http.GetByteArrayAsync($"/api/programmes/{programme}/exchange?recipient={Teams.Recipient(Teams.Community)}"), sent);

        var bundle = (Bundle)ResourceReader.Read(sent, FhirFormat.Json);
        var parameters = new Parameters();
        parameters.Parameter.Add(new() { Name = "exchange", Resource = bundle });
        parameters.Add("check", new FhirBoolean(true));
        Assert.Equal("taken-in", Outcome(await TakeInAsync(ResourceWriter.Json(parameters))));
        Assert.Equal(HttpStatusCode.NotFound, (await teams.There.Http.GetAsync($"/fhir/CarePlan/{programme}")).StatusCode);
        var taken = await TakeInAsync(sent);
        Assert.Equal("taken-in", Outcome(taken));
        Assert.Contains(taken.Parameter, p => p.Name == "created" && ((ResourceReference)p.Value!).Reference == $"CarePlan/{programme}");
        Assert.Equal($"Patient/{person}", ((ResourceReference)taken.Parameter.Single(p => p.Name == "person").Value!).Reference);
        Assert.Equal("unchanged", Outcome(await TakeInAsync(sent)));
    }

    [Fact]
    public async System.Threading.Tasks.Task Without_consent_the_operation_answers_403_with_the_reason()
    {
        var (person, programme) = await teams.PrescribedAsync();
        await Teams.ConsentAsync(teams.Here, person, Teams.Community, ("decision", "\"deny\""));
        using var answer = await teams.Here.Http.GetAsync($"/fhir/CarePlan/{programme}/$hand-over?recipient={Teams.Recipient(Teams.Community)}");
        Assert.Equal(HttpStatusCode.Forbidden, answer.StatusCode);
        var outcome = (OperationOutcome)ResourceReader.Read(await answer.Content.ReadAsByteArrayAsync(), FhirFormat.Json);
        Assert.Contains("refused to share", outcome.Issue[0].Diagnostics, StringComparison.Ordinal);
    }

    private async Task<Parameters> TakeInAsync(byte[] body)
    {
        using var content = new ByteArrayContent(body) { Headers = { ContentType = new(FhirCalls.Json) } };
        using var answer = await teams.There.Http.PostAsync("/fhir/$take-in", content);
        var bytes = await answer.Content.ReadAsByteArrayAsync();
        Assert.True(answer.IsSuccessStatusCode, System.Text.Encoding.UTF8.GetString(bytes));
        return (Parameters)ResourceReader.Read(bytes, FhirFormat.Json);
    }

    private static string Outcome(Parameters said) => ((Code)said.Parameter.Single(p => p.Name == "outcome").Value!).Value!;
}
