using System.Net;
using System.Text.Json.Nodes;
using RehabRecords.Printing;
using RehabRecords.Tests.Documents;
using RehabRecords.Tests.Trade;

namespace RehabRecords.Tests.Printing;

/// <summary>A service whose operator installed no browser: everything works but PDF files, and the refusal says what to do.</summary>
public class WithoutBrowserTests(TradeApp app) : IClassFixture<TradeApp>
{
    private async Task<(HttpStatusCode Status, string Body)> GetAsync(string address, string accept)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, address) { Headers = { { "Accept", accept } } };
        using var response = await app.Http.SendAsync(request);
        if (response.StatusCode == HttpStatusCode.ServiceUnavailable)
            Assert.NotNull(response.Headers.RetryAfter);
        return (response.StatusCode, await response.Content.ReadAsStringAsync());
    }

    [Fact]
    public async Task A_pdf_is_refused_with_the_setting_that_is_missing()
    {
        var (note, of) = await app.DraftAsync();
        foreach (var (address, accept) in new[] { ($"/api/notes/{note}", "application/pdf"), ($"/notes/{note}/document.pdf", "*/*"), ($"/programmes/{of.Programme}/home-sheet.pdf", "*/*"), ($"/programmes/{of.Programme}/diary-sheet.pdf", "*/*") })
        {
            var (status, body) = await GetAsync(address, accept);
            Assert.Equal(HttpStatusCode.ServiceUnavailable, status);
            Assert.Contains("RehabRecords:Documents:Browser", (string)JsonNode.Parse(body)!["detail"]!, StringComparison.Ordinal);
        }
    }

    [Theory]
    [InlineData("/notes/nobody/document.pdf", "There is no document 'nobody'")]
    [InlineData("/programmes/nobody/home-sheet.pdf", "nobody")]
    public async Task What_is_not_there_is_not_printed(string address, string said)
    {
        var (status, body) = await GetAsync(address, "*/*");
        Assert.Equal(HttpStatusCode.NotFound, status);
        Assert.Contains(said, body, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("/no/such/browser", 30, 2, "is no file")]
    [InlineData(null, 0, 2, "Seconds from 1 to 600")]
    [InlineData(null, 601, 2, "they are 601 and 2")]
    [InlineData(null, 30, 0, "AtOnce from 1 to 64")]
    [InlineData(null, 30, 65, "they are 30 and 65")]
    public void A_setting_that_cannot_work_stops_the_start_and_names_itself(string? browser, int seconds, int atOnce, string said)
    {
        var problem = Assert.Throws<InvalidOperationException>(() => new PrintSetting { Browser = browser, Seconds = seconds, AtOnce = atOnce }.Check());
        Assert.Contains("RehabRecords:Documents", problem.Message, StringComparison.Ordinal);
        Assert.Contains(said, problem.Message, StringComparison.Ordinal);
    }
}
