using System.Net.Http.Json;
using System.Security.Cryptography;
using System.Text.Json.Nodes;
using RehabRecords.Tests;

namespace RehabRecords.Browser.Tests;

/// <summary>Documents as PDF, made by the service and read by Poppler.</summary>
[Collection(Clinic.Name)]
public class PdfTests(ServedClinic clinic)
{
    private const string A4 = "594.96 x 841.92 pts (A4)";
    private const string Letter = "612 x 792 pts (letter)";
    private const string WideA4 = "841.92 x 594.96 pts (A4)";
    private const string WideLetter = "792 x 612 pts (letter)";

    private HttpClient Http => clinic.App.Http;

    [Theory]
    [InlineData("", A4)]
    [InlineData("?paper=letter", Letter)]
    public async Task Every_page_of_a_draft_says_DRAFT_and_whose_it_is(string query, string size)
    {
        using var pdf = await Pdf.GetAsync(Http, clinic.Note("dev-madeup") + query, "application/pdf");
        pdf.IsSound();
        Assert.Equal(size, pdf.Info["Page size"]);
        Assert.All(pdf.Pages, page =>
        {
            Assert.Contains("DRAFT, not signed", page, StringComparison.Ordinal);
            Assert.Contains("Dev Madeup · born ", page, StringComparison.Ordinal);
            Assert.Contains((string)clinic.Answer("1-people/dev-madeup")["identifier"]!["value"]!, page, StringComparison.Ordinal);
        });
        // Everything the note says, in words that can be searched and read aloud.
        var note = await clinic.App.GetAsync(clinic.Note("dev-madeup"));
        Assert.All(note["statements"]!.AsArray(), s => Assert.Contains(Pdf.Close((string)s!["text"]!), Pdf.Close(string.Concat(pdf.Pages)), StringComparison.Ordinal));
    }

    [Fact]
    public async Task What_was_signed_is_printed_from_the_document_that_was_signed()
    {
        var note = clinic.Note("elin-notreal");
        using var read = await Http.GetAsync(note);
        using var sign = new HttpRequestMessage(HttpMethod.Post, $"{note}/signature")
        {
            Content = JsonContent.Create(new { by = new { name = "Rowan Pretendley", role = "physiotherapist", registrationBody = "Register of Invented Professions", registration = "INV-1001" } }),
            Headers = { { "If-Match", read.Headers.ETag!.ToString() } },
        };
        using var signed = await Http.SendAsync(sign);
        Assert.True(signed.IsSuccessStatusCode, await signed.Content.ReadAsStringAsync());
        var signature = await clinic.App.GetAsync($"{note}/signature");
        // The record moves on; the signed document does not.
        var patient = await clinic.App.GetAsync($"/fhir/Patient/{clinic.Person("elin-notreal")}");
        patient["birthDate"] = "1901-01-01";
        using var change = new HttpRequestMessage(HttpMethod.Put, $"/fhir/Patient/{clinic.Person("elin-notreal")}")
        {
            Content = RunningService.Json(patient, "application/fhir+json"),
            Headers = { { "If-Match", $"W/\"{patient["meta"]!["versionId"]}\"" } },
        };
        using var changed = await Http.SendAsync(change);
        Assert.True(changed.IsSuccessStatusCode, await changed.Content.ReadAsStringAsync());

        using var pdf = await Pdf.GetAsync(Http, note.Replace("/api/notes/", "/notes/", StringComparison.Ordinal) + "/document.pdf");
        pdf.IsSound();
        Assert.Empty(pdf.PagesWith("DRAFT"));
        Assert.Empty(pdf.PagesWith("1901"));
        Assert.All(pdf.Pages, page => Assert.Matches(@"(?m)^Signed$", page));
        Assert.Equal(pdf.Pages.Count, pdf.PagesWith("Elin Notreal · born").Count);
        var bytes = await Http.GetByteArrayAsync($"/fhir/{signature["document"]}");
        Assert.Single(pdf.PagesWith(Convert.ToHexStringLower(SHA256.HashData(bytes))));
        Assert.NotEmpty(pdf.PagesWith("Rowan Pretendley"));
        Assert.NotEmpty(pdf.PagesWith("INV-1001"));
    }

    [Fact]
    public async Task A_measure_taken_twice_is_drawn_with_its_words_and_its_results()
    {
        using var pdf = await Pdf.GetAsync(Http, clinic.Note("bram-inventley"), "application/pdf");
        pdf.IsSound();
        Assert.NotEmpty(pdf.PagesWith("Measures as charts"));
        // The text alternative, and the axis as text of the drawing.
        Assert.NotEmpty(pdf.PagesWith("2 results from"));
        Assert.NotEmpty(pdf.PagesWith("Grey band:"));
    }

    [Fact]
    public async Task A_discharge_summary_is_printed_like_any_document()
    {
        using var pdf = await Pdf.GetAsync(Http, clinic.Discharge("greta-pastmade"), "application/pdf");
        pdf.IsSound();
        Assert.Equal(pdf.Pages.Count, pdf.PagesWith("Greta Pastmade · born").Count);
        Assert.Equal(pdf.Pages.Count, pdf.PagesWith("DRAFT, not signed").Count);
        Assert.Single(pdf.PagesWith("Do up a shirt with small buttons each morning."));
    }

    public static TheoryData<string, string, string> Sheets => new()
    {
        { "standard", "a4", A4 },
        { "standard", "letter", Letter },
        { "large", "a4", A4 },
        { "large", "letter", Letter },
    };

    [Theory]
    [MemberData(nameof(Sheets))]
    public async Task No_exercise_of_a_home_sheet_is_split_over_pages(string size, string paper, string expected)
    {
        foreach (var person in new[] { "ada-sampleton", "bram-inventley", "cora-fictionby" })
        {
            var sheet = $"/programmes/{clinic.Programme(person)}/home-sheet";
            using var pdf = await Pdf.GetAsync(Http, $"{sheet}.pdf?size={size}&paper={paper}");
            pdf.IsSound();
            Assert.Equal(expected, pdf.Info["Page size"]);
            var window = await clinic.OpenAsync();
            await window.GotoAsync(clinic.Url(sheet).AbsoluteUri);
            var exercises = await window.EvaluateAsync<string[][]>("() => [...document.querySelectorAll('section.exercise')].map(s => [...s.querySelectorAll('h2, dd, li')].map(e => e.innerText))");
            await window.Context.CloseAsync();
            Assert.NotEmpty(exercises);
            foreach (var exercise in exercises)
            {
                var page = Assert.Single(pdf.PagesWith(exercise[0]));
                Assert.All(exercise, part => Assert.Contains(page, pdf.PagesWith(part)));
            }
            // What must be read first has a page of its own, or the pages it needs, before any exercise.
            Assert.Equal(1, pdf.PagesWith("Read this first")[0]);
            Assert.True(pdf.PagesWith(exercises[0][0])[0] > pdf.PagesWith("Who to call")[0]);
        }
    }

    [Theory]
    [InlineData("a4", WideA4)]
    [InlineData("letter", WideLetter)]
    public async Task A_diary_lies_across_the_paper_and_no_session_is_split(string paper, string expected)
    {
        using var pdf = await Pdf.GetAsync(Http, $"/programmes/{clinic.Programme("ada-sampleton")}/diary-sheet.pdf?paper={paper}");
        pdf.IsSound();
        Assert.Equal(expected, pdf.Info["Page size"]);
        // A session begins with its date and ends with the line for anything else.
        Assert.All(pdf.Pages, page => Assert.Equal(Count(page, "Not done that day"), Count(page, "Anything to tell")));
        Assert.Equal(4, pdf.Pages.Sum(page => Count(page, "Anything to tell")));

        static int Count(string page, string text) => page.Split(text).Length - 1;
    }

    [Fact]
    public async Task A_sheet_that_was_not_handed_over_says_so_on_every_page()
    {
        var body = JsonNode.Parse(await File.ReadAllTextAsync(Path.Combine(Repository.Root, "examples/demo/4-programmes/bram-inventley.json")))!.AsObject();
        body["person"] = clinic.Person("bram-inventley");
        body["status"] = "draft";
        body["title"] = "Next block";
        body.Remove("identifier");
        foreach (var exercise in body["exercises"]!.AsArray())
            exercise!.AsObject().Remove("identifier");
        var programme = await clinic.App.PostAsync("/api/programmes", body);
        using var pdf = await Pdf.GetAsync(Http, $"/programmes/{programme["id"]}/home-sheet.pdf");
        pdf.IsSound();
        Assert.Equal(pdf.Pages.Count, pdf.PagesWith("DRAFT, do not start").Count);
        Assert.Equal(pdf.Pages.Count, pdf.PagesWith("Practice at home: Bram").Count);
        Assert.Empty(pdf.PagesWith((string)clinic.Answer("1-people/bram-inventley")["identifier"]!["value"]!));
    }
}
