using System.Net;
using System.Text.RegularExpressions;

namespace RehabRecords.Tests.Pages;

/// <summary>Somebody at a browser without scripts: keeps cookies, reads pages, and sends their forms with the token that stands in them.</summary>
internal sealed partial class Browser(TestApp app)
{
    /// <summary>Each browser has cookies of its own.</summary>
    private static readonly HttpClient Http = new(new SocketsHttpHandler { AllowAutoRedirect = false, UseCookies = false });

    private readonly CookieContainer _cookies = new();

    /// <summary>Somebody who has said who is working.</summary>
    public static async Task<Browser> AsAsync(TestApp app, string name = "Rowan Invented", string role = "physiotherapist", string? registration = "INV-1001")
    {
        var browser = new Browser(app);
        var said = await browser.SendAsync("/you", "/you", ("name", name), ("role", role), ("registrationBody", registration is null ? "" : "Register of Invented Professions"), ("registration", registration ?? ""));
        Assert.Equal(HttpStatusCode.SeeOther, said.Status);
        return browser;
    }

    public IReadOnlyCollection<Cookie> Cookies => _cookies.GetAllCookies();

    public async Task<string> PageAsync(string address) => (await OpenAsync(address)).Html;

    public async Task<string> WordsAsync(string address) => Words(await PageAsync(address));

    /// <summary>Reads the page, and sends its form with that action and with the fields as it holds them, but for those given.</summary>
    public async Task<Opened> SendAsync(string page, string action, params (string Name, string Value)[] fields) =>
        await PostAsync(action, Form(await PageAsync(page), action, fields));

    public async Task<Opened> PostAsync(string action, IEnumerable<KeyValuePair<string, string>> fields)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, action) { Content = new FormUrlEncodedContent(fields) };
        return await SendAsync(request);
    }

    /// <summary>The hidden fields of the first form with the action, and what was typed.</summary>
    public static List<KeyValuePair<string, string>> Form(string html, string action, params (string Name, string Value)[] fields)
    {
        var named = Regex.Match(html, $"<button form=\"([a-z]+)\" formaction=\"{Regex.Escape(action)}\"|<button class=\"no-print\" form=\"([a-z]+)\" formaction=\"{Regex.Escape(action)}\"");
        var id = named.Groups[1].Value + named.Groups[2].Value;
        var form = Forms().Matches(html).FirstOrDefault(m => m.Value.Contains($"action=\"{action}\"", StringComparison.Ordinal) || (id.Length > 0 && m.Value.StartsWith($"<form id=\"{id}\"", StringComparison.Ordinal)));
        Assert.True(form is not null, $"no form goes to {action}");
        var sent = Hidden().Matches(form.Value).Select(m => (Name: m.Groups[1].Value, Value: WebUtility.HtmlDecode(m.Groups[2].Value))).Where(h => fields.All(f => f.Name != h.Name));
        return [.. sent.Concat(fields).Select(f => KeyValuePair.Create(f.Name, f.Value))];
    }

    /// <summary>What a reader sees of a page: no markup, one blank between words.</summary>
    public static string Words(string html) => Blanks().Replace(WebUtility.HtmlDecode(Tags().Replace(html, " ")), " ");

    public async Task<Opened> OpenAsync(string address)
    {
        var opened = await GoAsync(address);
        Assert.True(opened.Status == HttpStatusCode.OK, $"{address} answered {opened.Status}: {opened.Text}");
        return opened;
    }

    /// <summary>Whatever is answered there.</summary>
    public async Task<Opened> GoAsync(string address)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, address);
        return await SendAsync(request);
    }

    /// <param name="from">The page whose form is sent: its token goes along.</param>
    public async Task<Opened> PostAsync(Opened from, string address, params IEnumerable<(string Name, string Value)> fields)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, address)
        {
            Content = new FormUrlEncodedContent(fields.Where(f => f.Name != "__RequestVerificationToken").Append(("__RequestVerificationToken", from.Token))
                .Select(f => KeyValuePair.Create(f.Item1, f.Item2))),
        };
        return await SendAsync(request);
    }

    private async Task<Opened> SendAsync(HttpRequestMessage request)
    {
        request.RequestUri = new Uri(app.Address, request.RequestUri!);
        request.Headers.Add("Accept", "text/html");
        if (_cookies.GetCookieHeader(request.RequestUri) is { Length: > 0 } held)
            request.Headers.Add("Cookie", held);
        using var response = await Http.SendAsync(request);
        foreach (var cookie in response.Headers.TryGetValues("Set-Cookie", out var set) ? set : [])
            _cookies.SetCookies(request.RequestUri, cookie);
        var html = await response.Content.ReadAsStringAsync();
        return new Opened(response.StatusCode, html, response.Headers.Location?.OriginalString)
        {
            Token = TokenPattern().Match(html) is { Success: true } token ? token.Groups[1].Value : "",
        };
    }

    [GeneratedRegex("name=\"__RequestVerificationToken\"[^>]*value=\"([^\"]*)\"")]
    private static partial Regex TokenPattern();

    [GeneratedRegex("<form .*?</form>", RegexOptions.Singleline)]
    private static partial Regex Forms();

    [GeneratedRegex("<input type=\"hidden\" name=\"([^\"]+)\" value=\"([^\"]*)\"")]
    private static partial Regex Hidden();

    [GeneratedRegex("<[^>]*>")]
    private static partial Regex Tags();

    [GeneratedRegex(@"\s+")]
    private static partial Regex Blanks();
}

/// <summary>A page that was answered.</summary>
internal sealed partial record Opened(HttpStatusCode Status, string Html, string? Location)
{
    public string Token { get; init; } = "";

    /// <summary>As it reads: without tags, with single spaces.</summary>
    public string Text => Browser.Words(Html).Replace(" .", ".", StringComparison.Ordinal);

    /// <summary>Every field of the page with what it would send, in the order of the page.</summary>
    public IReadOnlyList<(string Name, string Value)> Fields => [.. Read(MainForm().Match(Html) is { Success: true } main ? main.Value : Html)];

    public string Field(string name) => Read(Html).First(f => f.Name == name).Value;

    /// <summary>The fields with some filled in anew; a name given twice is sent twice.</summary>
    public IEnumerable<(string Name, string Value)> Changed(params (string Name, string Value)[] changes)
    {
        var names = changes.Select(c => c.Name).ToHashSet();
        return Fields.Where(f => !names.Contains(f.Name)).Concat(changes);
    }

    /// <summary>The opening tag with an id.</summary>
    public string Tag(string id) => Regex.Match(Html, $"<[a-z]+ [^>]*id=\"{Regex.Escape(id)}\"[^>]*>").Value;

    /// <summary>What is told beside the field with an id.</summary>
    public string Wrong(string id)
    {
        var found = Regex.Match(Html, $"id=\"{Regex.Escape(id)}-wrong\">(.*?)</strong>", RegexOptions.Singleline);
        Assert.True(found.Success, $"nothing is told at '{id}': {Text}");
        return WebUtility.HtmlDecode(found.Groups[1].Value);
    }

    private static IEnumerable<(string Name, string Value)> Read(string html)
    {
        foreach (Match field in FieldPattern().Matches(html))
        {
            var (kind, attributes, content) = (field.Groups["kind"].Value + field.Groups["box"].Value, field.Groups["attributes"].Value, field.Groups["content"].Value);
            if (Attribute(attributes, "name") is not { } name)
                continue;
            var type = Attribute(attributes, "type");
            if (type is "checkbox" or "radio" && !Regex.IsMatch(attributes, @"\bchecked\b"))
                continue;
            yield return (name, kind switch
            {
                "textarea" => WebUtility.HtmlDecode(content),
                "select" => OptionPattern().Matches(content).Select(o => o.Groups[1].Value) is var options
                    && options.FirstOrDefault(o => Regex.IsMatch(o, @"\bselected\b")) is { } chosen ? Attribute(chosen, "value") ?? "" : Attribute(OptionPattern().Match(content).Groups[1].Value, "value") ?? "",
                _ => Attribute(attributes, "value") ?? "",
            });
        }
    }

    private static string? Attribute(string attributes, string name) =>
        Regex.Match(attributes, $"(?<![-a-z]){name}=\"([^\"]*)\"") is { Success: true } found ? WebUtility.HtmlDecode(found.Groups[1].Value) : null;

    [GeneratedRegex("<form method=\"post\".*?</form>", RegexOptions.Singleline)]
    private static partial Regex MainForm();

    [GeneratedRegex("<(?<kind>input)(?<attributes>[^>]*)>|<(?<box>textarea|select)(?<attributes>[^>]*)>(?<content>.*?)</\\k<box>>", RegexOptions.Singleline)]
    private static partial Regex FieldPattern();

    [GeneratedRegex("<option([^>]*)>")]
    private static partial Regex OptionPattern();
}
