using System.Net;
using System.Text.RegularExpressions;

namespace RehabRecords.Tests.Pages;

/// <summary>What a browser without scripts does: keeps cookies, reads the fields of a page and posts them.</summary>
internal sealed partial class Browser(TestApp app)
{
    private readonly CookieContainer _cookies = new();

    public async Task<Opened> OpenAsync(string address)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, address);
        var opened = await SendAsync(request);
        Assert.True(opened.Status == HttpStatusCode.OK, $"{address} answered {opened.Status}: {opened.Text}");
        return opened;
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
        request.Headers.Add("Accept", "text/html");
        if (_cookies.GetCookieHeader(app.Address) is { Length: > 0 } held)
            request.Headers.Add("Cookie", held);
        using var response = await app.Http.SendAsync(request);
        foreach (var cookie in response.Headers.TryGetValues("Set-Cookie", out var set) ? set : [])
            _cookies.SetCookies(app.Address, cookie);
        var html = await response.Content.ReadAsStringAsync();
        return new Opened(response.StatusCode, response.Headers.Location?.OriginalString, html)
        {
            Token = TokenPattern().Match(html) is { Success: true } token ? token.Groups[1].Value : "",
        };
    }

    [GeneratedRegex("name=\"__RequestVerificationToken\"[^>]*value=\"([^\"]*)\"")]
    private static partial Regex TokenPattern();
}

/// <summary>A page that was answered.</summary>
internal sealed partial record Opened(HttpStatusCode Status, string? Location, string Html)
{
    public string Token { get; init; } = "";

    /// <summary>As it reads: without tags, with single spaces.</summary>
    public string Text => Spaces().Replace(WebUtility.HtmlDecode(Tags().Replace(Html, " ")), " ").Replace(" .", ".", StringComparison.Ordinal);

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

    [GeneratedRegex("<[^>]*>")]
    private static partial Regex Tags();

    [GeneratedRegex(@"\s+")]
    private static partial Regex Spaces();

    [GeneratedRegex("<form method=\"post\".*?</form>", RegexOptions.Singleline)]
    private static partial Regex MainForm();

    [GeneratedRegex("<(?<kind>input)(?<attributes>[^>]*)>|<(?<box>textarea|select)(?<attributes>[^>]*)>(?<content>.*?)</\\k<box>>", RegexOptions.Singleline)]
    private static partial Regex FieldPattern();

    [GeneratedRegex("<option([^>]*)>")]
    private static partial Regex OptionPattern();
}
