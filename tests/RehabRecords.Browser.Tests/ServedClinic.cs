using System.Collections.Concurrent;
using System.Net.Http.Json;
using System.Text.Json.Nodes;
using Microsoft.Playwright;
using RehabRecords.Commands;

namespace RehabRecords.Browser.Tests;

/// <summary>The service with the demo's clinic in it, on a port of its own, and a browser to look at it. Started once for all tests.</summary>
public sealed class ServedClinic : IAsyncLifetime
{
    /// <summary>As Debian installs it; another one is named by the environment variable CHROMIUM.</summary>
    public static string BrowserPath => Environment.GetEnvironmentVariable("CHROMIUM") ?? "/usr/bin/chromium";

    /// <summary>No traffic of the browser's own, and no sandbox, which the administrator of a build machine cannot have.</summary>
    private static readonly string[] BrowserArguments =
        ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

    private readonly ConcurrentDictionary<string, Task<Visit>> _visits = new(StringComparer.Ordinal);
    private readonly Dictionary<string, JsonNode> _answers = new(StringComparer.Ordinal);
    private IPlaywright? _playwright;

    public RunningService App { get; private set; } = null!;

    public IBrowser Browser { get; private set; } = null!;

    private static readonly Dictionary<string, string> Settings = new()
    {
        // The port of a test is another each time; what is handed out begins with this.
        ["RehabRecords:PublicUrl"] = "http://127.0.0.1:5080",
        ["RehabRecords:Documents:Browser"] = BrowserPath,
        ["RehabRecords:Documents:Sandbox"] = "false",
        ["RehabRecords:Clinic:Name"] = "Pebblewick Community Therapy",
        ["RehabRecords:Clinic:Phone"] = "01632 960000",
        ["RehabRecords:Clinic:Website"] = "https://pebblewick.example/home-practice",
    };

    /// <summary>What the service answered to a file of the demo, such as "4-programmes/ada-sampleton".</summary>
    public JsonNode Answer(string file) => _answers[file];

    public string Person(string name) => (string)_answers[$"1-people/{name}"]["id"]!;

    public string Programme(string name) => (string)_answers[$"4-programmes/{name}"]["id"]!;

    /// <summary>Address of the note that stands after the person's last session.</summary>
    public string Note(string name) =>
        (string)_answers.Where(a => a.Key.StartsWith($"6-sessions/{name}-", StringComparison.Ordinal)).OrderBy(a => a.Key, StringComparer.Ordinal).Last().Value["note"]!["address"]!;

    /// <summary>The page on which that note is corrected and signed.</summary>
    public string NotePage(string name) => Note(name).Replace("/api/notes/", "/notes/", StringComparison.Ordinal);

    /// <summary>A red flag that one of the person's sessions raised.</summary>
    public string Flag(string name) =>
        (string)_answers.Where(a => a.Key.StartsWith($"6-sessions/{name}-", StringComparison.Ordinal)).SelectMany(a => a.Value["flags"]?.AsArray() ?? []).First()!["id"]!;

    public string Discharge(string name) => (string)_answers[$"9-discharges/{name}"]["address"]!;

    /// <summary>A draft, since the demo hands over every programme.</summary>
    public string Draft { get; private set; } = "";

    /// <summary>A letter about Ada, not signed.</summary>
    public string Letter { get; private set; } = "";

    /// <summary>One about Bram, signed.</summary>
    public string SignedLetter { get; private set; } = "";

    /// <summary>What another team sent of a person of theirs.</summary>
    public string Received { get; private set; } = "";

    /// <summary>What was changed here and by another team, and waits for a choice.</summary>
    public string Conflict { get; private set; } = "";

    /// <summary>Something that somebody is to do.</summary>
    public string OpenTask { get; private set; } = "";

    /// <summary>Where Ada's carer reports a session from home.</summary>
    public string HomeLink { get; private set; } = "";

    public Uri Url(string address) => new(App.Address, address);

    /// <summary>What a page is like in the browser; each page is looked at once, and every check reads that.</summary>
    public Task<Visit> VisitAsync(ClinicPage page) => _visits.GetOrAdd(page.Name, _ => Visit.MakeAsync(this, page));

    /// <summary>A window as wide as a desk screen unless said otherwise.</summary>
    public async Task<IPage> OpenAsync(int width = 1280, int height = 900)
    {
        var context = await Browser.NewContextAsync(new() { ViewportSize = new() { Width = width, Height = height }, Locale = "en-GB", TimezoneId = "Europe/London" });
        return await context.NewPageAsync();
    }

    /// <summary>Says who is working, in a tab of its own of the same browser, so that nothing of that page is taken for one of the next.</summary>
    public async Task WorkAsync(IPage window)
    {
        var tab = await window.Context.NewPageAsync();
        await tab.GotoAsync(Url("/you").AbsoluteUri);
        await tab.Locator("#name").FillAsync("Rowan Pretendley");
        await tab.Locator("#role").FillAsync("physiotherapist");
        await tab.Locator("#registrationBody").FillAsync("Register of Invented Professions");
        await tab.Locator("#registration").FillAsync("INV-1001");
        await tab.GetByRole(AriaRole.Button, new() { Name = "This is who is working" }).ClickAsync();
        await Assertions.Expect(tab.Locator(".who")).ToContainTextAsync("Working: Rowan Pretendley");
        await tab.CloseAsync();
    }

    public async Task InitializeAsync()
    {
        App = new RunningService(Settings);
        foreach (var answer in await new DemoClinic(App.Http, DemoClinic.DefaultFolder).PostAllAsync(default))
            _answers[$"{answer.Folder}/{answer.Name}"] = answer.Result;
        using var draft = await App.Http.PostAsJsonAsync("/api/programmes", new
        {
            person = Person("ada-sampleton"),
            status = "draft",
            template = "table-top-hand-practice|1",
            level = 3,
            levelReason = "She turns cards and pours without help; to be tried with small things.",
            start = "2026-10-12",
            painLimit = 4,
        });
        Draft = (string)JsonNode.Parse(await draft.EnsureSuccessStatusCode().Content.ReadAsStringAsync())!["id"]!;
        var link = await App.PostAsync($"/api/programmes/{Programme("ada-sampleton")}/home-links", JsonNode.Parse("""{ "for": "carer", "validUntil": "2026-10-11", "by": { "name": "Rowan Pretendley", "role": "physiotherapist" } }""")!);
        // What is handed out starts with the service's own address, and the test's port is another.
        HomeLink = new Uri((string)link["address"]!).AbsolutePath;
        Letter = await LetterAsync("ada-sampleton");
        SignedLetter = await LetterAsync("bram-inventley");
        await SignAsync(SignedLetter);
        Received = await ReceiveAsync();
        await using (var vale = new OtherTeam(this))
            Conflict = "/conflicts/" + await vale.ChangesAsWellAsync(await Newcomer.ArriveAsync(this, "Twosiding"));
        using var task = await App.Http.PostAsync("/fhir/Task", RunningService.Json(JsonNode.Parse($$"""
            { "resourceType": "Task", "status": "requested", "intent": "order", "description": "Send the splint to be mended.", "for": { "reference": "Patient/{{Person("cora-fictionby")}}" }, "authoredOn": "2026-09-21",
              "owner": { "display": "Vale Community Team" }, "restriction": { "period": { "end": "2026-10-05" } } }
            """)!, "application/fhir+json"));
        OpenTask = $"/tasks/{(string)JsonNode.Parse(await task.EnsureSuccessStatusCode().Content.ReadAsStringAsync())!["id"]!}";
        _playwright = await Playwright.CreateAsync();
        Browser = await _playwright.Chromium.LaunchAsync(new() { ExecutablePath = BrowserPath, Args = BrowserArguments });
    }

    private async Task<string> LetterAsync(string name) => ((string)(await App.PostAsync("/api/letters", JsonNode.Parse($$"""
        {
          "person": "{{Person(name)}}", "to": { "name": "Merle Inventsen", "role": "community physiotherapist", "organisation": "Vale Community Team" },
          "copies": [{ "name": "Dr Imagined", "role": "GP", "organisation": "Pebblewick Surgery" }], "from": "2026-10-12",
          "reason": "The move to the vale, nearer to the family.", "request": "Carry on with the programme, and see at home within two weeks.",
          "contact": "Pebblewick Community Therapy, 01632 960000, Monday to Friday.", "author": { "name": "Rowan Pretendley", "role": "physiotherapist" }
        }
        """)!))["address"]!).Replace("/api/notes/", "/notes/", StringComparison.Ordinal);

    /// <summary>Ada's programme as it would come from elsewhere, where she has another name, number and birth date.</summary>
    private async Task<string> ReceiveAsync()
    {
        await App.PostAsync($"/api/people/{Person("ada-sampleton")}/consents", JsonNode.Parse("""
            { "decision": "permit", "recipient": { "name": "Vale Community Team", "identifier": { "system": "https://directory.example/id/organisation", "value": "vale" } }, "recordedBy": { "name": "Rowan Pretendley", "role": "physiotherapist" } }
            """)!);
        var ours = (await App.GetAsync($"/api/programmes/{Programme("ada-sampleton")}/exchange?results=false&recipient=https://directory.example/id/organisation|vale")).ToJsonString();
        var theirs = ours.Replace("http://127.0.0.1:5080", "http://vale.test", StringComparison.Ordinal).Replace("PW-0001", "VC-0001", StringComparison.Ordinal)
            .Replace("Sampleton", "Valeborn", StringComparison.Ordinal).Replace("1958-02-11", "1957-03-12", StringComparison.Ordinal);
        using var taken = await App.Http.PostAsync("/api/exchange", RunningService.Json(JsonNode.Parse(theirs)!, "application/fhir+json"));
        var answer = await taken.Content.ReadAsStringAsync();
        Assert.True(taken.IsSuccessStatusCode, answer);
        return ((string)JsonNode.Parse(answer)!["provenance"]!).Replace("Provenance/", "/received/", StringComparison.Ordinal);
    }

    private async Task SignAsync(string note)
    {
        using var sign = new HttpRequestMessage(HttpMethod.Post, $"/api{note}/signature")
        {
            Content = JsonContent.Create(new { by = new { name = "Rowan Pretendley", role = "physiotherapist", registrationBody = "Register of Invented Professions", registration = "INV-1001" } }),
            Headers = { { "If-Match", "W/\"1\"" } },
        };
        using var signed = await App.Http.SendAsync(sign);
        Assert.True(signed.IsSuccessStatusCode, await signed.Content.ReadAsStringAsync());
    }

    public async Task DisposeAsync()
    {
        await Browser.DisposeAsync();
        _playwright?.Dispose();
        await App.DisposeAsync();
    }
}

/// <summary>All tests share one clinic and one browser.</summary>
[CollectionDefinition(Name)]
public sealed class Clinic : ICollectionFixture<ServedClinic>
{
    public const string Name = "clinic";
}
