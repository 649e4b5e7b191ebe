using System.Net;
using System.Text.RegularExpressions;

namespace RehabRecords.Tests.Pages;

/// <summary>Somebody at a browser without scripts: keeps cookies, reads pages, and sends their forms with the token that stands in them.</summary>
internal sealed partial class Visitor : IDisposable
{
    private readonly HttpClient _http;

    public Visitor(TestApp app)
    {
        _http = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = false, CookieContainer = new CookieContainer() }) { BaseAddress = app.Address };
        _http.DefaultRequestHeaders.Add("Accept", "text/html");
    }

    public static async Task<Visitor> AsAsync(TestApp app, string name = "Rowan Invented", string role = "physiotherapist", string? registration = "INV-1001")
    {
        var visitor = new Visitor(app);
        var (status, _, _) = await visitor.SendAsync("/you", "/you", ("name", name), ("role", role), ("registrationBody", registration is null ? "" : "Register of Invented Professions"), ("registration", registration ?? ""));
        Assert.Equal(HttpStatusCode.SeeOther, status);
        return visitor;
    }

    /// <summary>A page that must be there.</summary>
    public async Task<string> PageAsync(string address)
    {
        using var response = await _http.GetAsync(address);
        var html = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, $"GET {address} answered {(int)response.StatusCode}: {html}");
        return html;
    }

    /// <summary>Whatever is answered there.</summary>
    public async Task<(HttpStatusCode Status, string Body, string? Location)> GoAsync(string address)
    {
        using var response = await _http.GetAsync(address);
        return (response.StatusCode, await response.Content.ReadAsStringAsync(), response.Headers.Location?.OriginalString);
    }

    /// <summary>What a reader sees of it: no markup, one blank between words.</summary>
    public async Task<string> WordsAsync(string address) => Words(await PageAsync(address));

    /// <summary>Reads the page, and sends its form with that action and with the fields as it holds them, but for those given.</summary>
    public async Task<(HttpStatusCode Status, string Body, string? Location)> SendAsync(string page, string action, params (string Name, string Value)[] fields) =>
        await PostAsync(action, Form(await PageAsync(page), action, fields));

    public async Task<(HttpStatusCode Status, string Body, string? Location)> PostAsync(string action, IEnumerable<KeyValuePair<string, string>> fields)
    {
        using var content = new FormUrlEncodedContent(fields);
        using var response = await _http.PostAsync(action, content);
        return (response.StatusCode, await response.Content.ReadAsStringAsync(), response.Headers.Location?.OriginalString);
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

    public static string Words(string html) => Blanks().Replace(WebUtility.HtmlDecode(Tags().Replace(html, " ")), " ");

    public void Dispose() => _http.Dispose();

    [GeneratedRegex("<form .*?</form>", RegexOptions.Singleline)]
    private static partial Regex Forms();

    [GeneratedRegex("<input type=\"hidden\" name=\"([^\"]+)\" value=\"([^\"]*)\"")]
    private static partial Regex Hidden();

    [GeneratedRegex("<[^>]*>")]
    private static partial Regex Tags();

    [GeneratedRegex(@"\s+")]
    private static partial Regex Blanks();
}
