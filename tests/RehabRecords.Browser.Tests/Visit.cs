using System.Collections.Concurrent;
using System.Text.Json;
using Microsoft.Playwright;
using RehabRecords.Tests;

namespace RehabRecords.Browser.Tests;

/// <param name="Bytes">Of the body, before compression.</param>
public sealed record Loaded(string Url, int Status, int Bytes);

/// <summary>A rule of accessibility that a page breaks.</summary>
public sealed record AccessFault(string Rule, string Impact, string Help, IReadOnlyList<string> Places);

/// <summary>What was seen of one page in the browser: loaded, looked over for accessibility, narrowed, and walked through by keyboard.</summary>
public sealed record Visit(
    int Status, string Html, IReadOnlyList<Loaded> Loads, IReadOnlyList<string> Errors, IReadOnlyList<string> PolicyViolations,
    IReadOnlyList<AccessFault> Access, IReadOnlyList<AccessFault> AccessNarrow, int RulesPassed, IReadOnlyDictionary<string, IReadOnlyList<string>> TooWide, Keyboard Keys)
{
    private static readonly string Axe = File.ReadAllText(Path.Combine(Repository.Root, "tests/RehabRecords.Browser.Tests/node_modules/axe-core/axe.min.js"));

    // Debugging code is not subject to the page's Content-Security-Policy, so that the policy stays in force while we look.
    private const string WatchPolicy =
        "window.policyViolations = []; document.addEventListener('securitypolicyviolation', e => policyViolations.push(e.effectiveDirective + ' ' + e.blockedURI + ' ' + e.sample));";

    private const string RunAxe = """
        async () => {
          const found = await axe.run(document, { resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] });
          return JSON.stringify({
            passed: found.passes.length,
            faults: found.violations.map(v => ({ rule: v.id, impact: v.impact, help: v.help, places: v.nodes.map(n => n.target.join(' ') + ': ' + (n.failureSummary ?? '')) })),
          });
        }
        """;

    /// <summary>What sticks out to the side of the page, if the page itself scrolls that way.</summary>
    private const string SticksOut = """
        () => {
          const wide = document.documentElement.clientWidth;
          if (document.documentElement.scrollWidth <= wide) return [];
          const out = [...document.body.querySelectorAll('*')].filter(e => e.getBoundingClientRect().right > wide + 0.5)
            .map(e => e.tagName.toLowerCase() + (e.className && typeof e.className === 'string' ? '.' + e.className : '') + ' to ' + Math.round(e.getBoundingClientRect().right));
          return ['the page is ' + document.documentElement.scrollWidth + ' wide', ...out.slice(0, 8)];
        }
        """;

    /// <summary>1280 pixels at 200 % are 640 of the page's own; 360 is a small telephone.</summary>
    private static readonly (string Name, int Width)[] Widths = [("200 %", 640), ("360 px", 360)];

    public static async Task<Visit> MakeAsync(ServedClinic clinic, ClinicPage page)
    {
        var window = await clinic.OpenAsync();
        try
        {
            if (page.Working)
                await clinic.WorkAsync(window);
            var loads = new ConcurrentBag<Task<Loaded>>();
            var errors = new ConcurrentQueue<string>();
            window.Response += (_, response) => loads.Add(LoadedAsync(response));
            window.RequestFailed += (_, request) => errors.Enqueue($"not loaded: {request.Url} {request.Failure}");
            window.PageError += (_, error) => errors.Enqueue(error);
            window.Console += (_, message) =>
            {
                // That the page itself is a refusal is what was asked for.
                if (message.Type is "error" or "warning" && !(page.Status >= 400 && message.Text.Contains($"status of {page.Status}", StringComparison.Ordinal)))
                    errors.Enqueue($"{message.Type}: {message.Text}");
            };
            await window.AddInitScriptAsync(WatchPolicy);
            var answer = await window.GotoAsync(clinic.Url(page.Address(clinic)).AbsoluteUri);
            var html = await answer!.TextAsync();
            await window.EvaluateAsync(Axe);
            var (access, passed) = await AccessAsync(window);
            var keys = await Keyboard.WalkAsync(window);
            var tooWide = new Dictionary<string, IReadOnlyList<string>>();
            foreach (var (name, width) in Widths)
            {
                await window.SetViewportSizeAsync(width, 800);
                tooWide[name] = await window.EvaluateAsync<string[]>(SticksOut);
            }
            var (narrow, _) = await AccessAsync(window);
            var violations = await window.EvaluateAsync<string[]>("() => window.policyViolations");
            return new Visit(
                answer.Status, html, [.. await Task.WhenAll(loads)], [.. errors], violations,
                access, narrow, passed, tooWide, keys);
        }
        finally
        {
            await window.Context.CloseAsync();
        }
    }

    private static async Task<(AccessFault[] Faults, int Passed)> AccessAsync(IPage window)
    {
        using var found = JsonDocument.Parse(await window.EvaluateAsync<string>(RunAxe));
        return (found.RootElement.GetProperty("faults").Deserialize<AccessFault[]>(JsonSerializerOptions.Web)!, found.RootElement.GetProperty("passed").GetInt32());
    }

    private static async Task<Loaded> LoadedAsync(IResponse response) => new(response.Url, response.Status, (await response.BodyAsync()).Length);
}
