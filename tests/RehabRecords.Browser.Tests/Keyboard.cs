using Microsoft.Playwright;

namespace RehabRecords.Browser.Tests;

/// <summary>What a person without a mouse meets on a page.</summary>
/// <param name="First">What the first press of Tab reaches.</param>
/// <param name="SkipsTo">Where the focus is after the first thing was pressed, if it is a skip link.</param>
/// <param name="NotReached">Things that can be operated, and no press of Tab reaches.</param>
/// <param name="NotShown">Things that do not show that they have the focus.</param>
/// <param name="Backwards">Things that Tab reaches before what stands before them.</param>
public sealed record Keyboard(string First, string? SkipsTo, IReadOnlyList<string> NotReached, IReadOnlyList<string> NotShown, IReadOnlyList<string> Backwards)
{
    private const int MostPresses = 600;

    /// <summary>Everything that can be operated and is there to be seen; of radio buttons of one name, the one that is chosen. What is hidden from readers is for the Enter key only.</summary>
    private const string Prepare = """
        () => {
          const seen = new Set();
          window.operable = [...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex="0"]')]
            .filter(e => !e.disabled && e.type !== 'hidden' && e.getAttribute('aria-hidden') !== 'true' && e.checkVisibility({ visibilityProperty: true }))
            .filter(e => e.type !== 'radio' || e.checked || (!document.querySelector(`input[type=radio][name="${e.name}"]:checked`) && !seen.has(e.name) && seen.add(e.name)));
          window.nameOf = e => e.tagName.toLowerCase() + ' ' + (e.name || e.getAttribute('href') || '') + ' "' + (e.innerText || e.value || '').trim().slice(0, 40) + '"';
          document.activeElement.blur();
          return window.operable.length;
        }
        """;

    /// <summary>Where the focus is now; -1 is outside the page, -2 something that scrolls.</summary>
    private const string Step = """
        () => {
          const e = document.activeElement;
          if (!e || e === document.body || e === document.documentElement) return { at: -1, shown: true, name: '' };
          const look = getComputedStyle(e);
          const shown = look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) > 0;
          const at = operable.findIndex(o => o === e || (o.type === 'radio' && o.name === e.name));
          return { at: at < 0 ? -2 : at, shown, name: nameOf(e) };
        }
        """;

    private sealed record Place(int At, bool Shown, string Name);

    public static async Task<Keyboard> WalkAsync(IPage page)
    {
        var there = await page.EvaluateAsync<int>(Prepare);
        var reached = new HashSet<int>();
        var notShown = new List<string>();
        var backwards = new List<string>();
        var (first, last) = ("", -1);
        for (var press = 0; press < MostPresses; press++)
        {
            await page.Keyboard.PressAsync("Tab");
            var now = await PlaceAsync(page);
            if (now.At == -1)
                break;
            if (press == 0)
                first = now.Name;
            if (!now.Shown)
                notShown.Add(now.Name);
            // The day, month and year of a date are places of their own within one field.
            if (now.At < 0 || now.At == last)
                continue;
            if (!reached.Add(now.At))
                break;
            if (now.At < last)
                backwards.Add(now.Name);
            last = now.At;
        }
        var missed = await page.EvaluateAsync<string[]>("at => at.map(i => nameOf(operable[i]))", Enumerable.Range(0, there).Except(reached).ToArray());
        return new Keyboard(first, await SkipAsync(page), missed, notShown, backwards);
    }

    private static async Task<string?> SkipAsync(IPage page)
    {
        if (await page.Locator("a.skip").CountAsync() == 0)
            return null;
        await page.Locator("a.skip").FocusAsync();
        await page.Keyboard.PressAsync("Enter");
        return await page.EvaluateAsync<string>("() => document.activeElement.id");
    }

    private static async Task<Place> PlaceAsync(IPage page)
    {
        var place = (await page.EvaluateAsync(Step))!.Value;
        return new Place(place.GetProperty("at").GetInt32(), place.GetProperty("shown").GetBoolean(), place.GetProperty("name").GetString()!);
    }
}
