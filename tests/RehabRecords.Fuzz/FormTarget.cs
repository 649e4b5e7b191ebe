using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;

namespace RehabRecords.Fuzz;

/// <summary>
/// The forms of the pages, read as a browser would and sent with fields changed, left out, doubled and filled. The token and the cookie of a
/// kept input belong to a service that has gone, so it tells what was sent and cannot be run again.
/// </summary>
internal sealed partial class FormTarget : RequestTarget, IDisposable
{
    private static readonly string[] Plausible =
        ["1", "3", "10", "yes", "right", "2026-11-20", "2026-11-20T10:00", "Rowan Pretendley", "physiotherapist", "The cup was too heavy for the first week at home.", "work", "on", "5.5"];

    private readonly CookieContainer _cookies = new();
    private readonly HttpClient _browser;
    private readonly List<string> _pages;

    private FormTarget(Service service, List<string> pages)
        : base(service)
    {
        _browser = new HttpClient(new SocketsHttpHandler { AllowAutoRedirect = true, CookieContainer = _cookies }) { BaseAddress = service.Address };
        _browser.DefaultRequestHeaders.Add("Accept", "text/html");
        _pages = pages;
    }

    public override string Name => "form";

    public override int Weight => 8;

    public static async Task<FormTarget> OpenAsync(Service service)
    {
        IEnumerable<string> Of(string type, params string[] paths) => service.Existing.Where(a => a.StartsWith(type + "/", StringComparison.Ordinal)).Take(8).SelectMany(a => paths.Select(p => string.Format(null, p, a.Split('/')[1])));
        var programme = service.Existing.First(a => a.StartsWith("CarePlan/", StringComparison.Ordinal)).Split('/')[1];
        using var asked = new StringContent($$"""{ "for": "carer", "validUntil": "{{DateTime.UtcNow.AddDays(14):yyyy-MM-dd}}", "by": { "name": "Rowan Pretendley", "role": "physiotherapist" } }""", Encoding.UTF8, "application/json");
        using var link = await service.Http.PostAsync($"/api/programmes/{programme}/home-links", asked);
        List<string> pages =
        [
            "/you", "/caseload", "/library", .. link.IsSuccessStatusCode ? [new Uri((string)JsonNode.Parse(await link.Content.ReadAsStringAsync())!["address"]!).AbsolutePath] : Array.Empty<string>(),
            .. Of("Patient", "/people/{0}", "/people/{0}/programmes/new", "/people/{0}/discharge", "/people/{0}/letters/new"), .. Of("CarePlan", "/programmes/{0}/desk", "/programmes/{0}/home-links"),
            .. Of("Composition", "/notes/{0}", "/notes/{0}/versions", "/discharges/{0}"), .. Of("Task", "/tasks/{0}"), .. Of("Flag", "/flags/{0}"),
        ];
        return new FormTarget(service, pages);
    }

    public void Dispose() => _browser.Dispose();

    protected override Request Request(Chance chance)
    {
        var page = chance.Of(_pages);
        using var answer = _browser.GetAsync(new Uri(page, UriKind.Relative)).GetAwaiter().GetResult();
        var html = answer.Content.ReadAsStringAsync().GetAwaiter().GetResult();
        var forms = Form().Matches(html).Select(m => m.Value).Where(f => f.Contains("method=\"post\"", StringComparison.Ordinal)).ToList();
        if (forms.Count == 0)
            return new("GET", page, [("Accept", "text/html")], []);
        var form = chance.Of(forms);
        var others = Elsewhere().Matches(html).Select(m => WebUtility.HtmlDecode(m.Groups[1].Value)).ToList();
        var action = others.Count > 0 && chance.OneIn(2) ? chance.Of(others) : Action().Match(form) is { Success: true } own ? WebUtility.HtmlDecode(own.Groups[1].Value) : page;
        var fields = Field().Matches(form).SelectMany(m => Filled(m, chance));
        var body = string.Join('&', fields.Select(f => $"{Uri.EscapeDataString(f.Name)}={Uri.EscapeDataString(f.Value)}"));
        return new("POST", action, [("Content-Type", "application/x-www-form-urlencoded"), ("Accept", "text/html"), ("Cookie", _cookies.GetCookieHeader(Service.Address))], Encoding.ASCII.GetBytes(body));
    }

    private static IEnumerable<(string Name, string Value)> Filled(Match field, Chance chance)
    {
        var (tag, name) = (field.Value, WebUtility.HtmlDecode(field.Groups["name"].Value));
        var value = WebUtility.HtmlDecode(Value().Match(tag).Groups[1].Value);
        if (name[0] == '_')
            return chance.OneIn(100) ? [] : [(name, value)];
        if (tag.StartsWith("<select", StringComparison.Ordinal))
            value = Value().Matches(field.Groups["inside"].Value) is { Count: > 0 } options ? WebUtility.HtmlDecode(chance.Of(options.ToList()).Groups[1].Value) : "";
        else if (tag.Contains("type=\"radio\"", StringComparison.Ordinal) || tag.Contains("type=\"checkbox\"", StringComparison.Ordinal))
            return chance.OneIn(2) ? [] : [(name, value)];
        else if (tag.StartsWith("<textarea", StringComparison.Ordinal))
            value = WebUtility.HtmlDecode(field.Groups["inside"].Value);
        if (value.Length == 0 && chance.OneIn(2))
            value = chance.Of(Plausible);
        return chance.Below(30) switch
        {
            0 => [],
            1 or 2 => [(name, chance.Of(Dictionary.Texts))],
            3 => [(name, value), (name, chance.Of(Dictionary.Texts))],
            4 => [(name + chance.Of(Dictionary.Texts), value)],
            5 => [(name, new string('x', chance.Below(3_000)))],
            _ => [(name, value)],
        };
    }

    [GeneratedRegex("<form .*?</form>", RegexOptions.Singleline)]
    private static partial Regex Form();

    [GeneratedRegex("formaction=\"([^\"]*)\"")]
    private static partial Regex Elsewhere();

    [GeneratedRegex("^<form [^>]*action=\"([^\"]*)\"")]
    private static partial Regex Action();

    [GeneratedRegex("<(?:input|button)\\b[^>]*\\bname=\"(?<name>[^\"]+)\"[^>]*>|<(?<kind>textarea|select)\\b[^>]*\\bname=\"(?<name>[^\"]+)\"[^>]*>(?<inside>.*?)</\\k<kind>>", RegexOptions.Singleline)]
    private static partial Regex Field();

    [GeneratedRegex("\\bvalue=\"([^\"]*)\"")]
    private static partial Regex Value();
}
