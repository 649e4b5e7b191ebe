using Hl7.Fhir.Model;
using RehabRecords.Pages.Received;

namespace RehabRecords.Tests.Pages;

/// <summary>Words of another team: what they may be once they are shown.</summary>
public class ReceivedTests
{
    [Theory]
    // Whatever got past the door: the page itself lets nothing through that could do anything.
    [InlineData("<p>Twice a day.<script>alert(1)</script></p>", "<p>Twice a day.</p>")]
    [InlineData("<p onclick=\"alert(1)\" style=\"position:fixed\" class=\"mark\" id=\"content\">Twice.</p>", "<p>Twice.</p>")]
    [InlineData("<p>See <a href=\"javascript:alert(1)\">this</a> and <a href=\"https://elsewhere.example\">that</a>.</p>", "<p>See <a>this</a> and <a>that</a>.</p>")]
    [InlineData("<img src=\"https://elsewhere.example/x.png\" /><p>Twice.</p>", "<p>Twice.</p>")]
    [InlineData("<form action=\"https://elsewhere.example\"><input name=\"who\" /><button>Send</button></form><p>Twice.</p>", "<p>Twice.</p>")]
    [InlineData("<style>p { display: none }</style><iframe src=\"https://elsewhere.example\"></iframe><p>Twice.</p>", "<p>Twice.</p>")]
    [InlineData("<svg><script>alert(1)</script></svg><p>Twice.</p>", "<p>Twice.</p>")]
    [InlineData("<p lang=\"ar\" dir=\"rtl\">مرتين</p>", "<p lang=\"ar\" dir=\"rtl\">مرتين</p>")]
    [InlineData("<table><tr><td colspan=\"2\">10 &lt; 12 &amp; more</td></tr></table>", "<table><tbody><tr><td colspan=\"2\">10 &lt; 12 &amp; more</td></tr></tbody></table>")]
    public void Only_words_their_order_and_their_language_are_left(string sent, string shown) =>
        Assert.Equal(shown, Text(ForeignText.Clean(new Narrative { Div = $"<div xmlns=\"http://www.w3.org/1999/xhtml\">{sent}</div>" })));

    private static string Text(string html) => html.Replace("<div>", "", StringComparison.Ordinal).Replace("</div>", "", StringComparison.Ordinal).Replace(" xmlns=\"http://www.w3.org/1999/xhtml\"", "", StringComparison.Ordinal);

    [Fact]
    public void A_document_is_shown_section_by_section_with_encoded_titles()
    {
        var document = new Bundle
        {
            Entry =
            [
                new()
                {
                    Resource = new Composition
                    {
                        Title = "Programme <of> the hospital",
                        Section = [new() { Title = "At home", Text = new Narrative { Div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>Twice.</p></div>" }, Section = [new() { Title = "Pegs" }] }],
                    },
                },
            ],
        };
        var parts = ForeignText.Of(document);
        Assert.Equal(["Programme <of> the hospital", "At home", "Pegs"], parts.Select(p => p.Title));
        var page = ForeignText.Page(parts);
        Assert.Contains("<h1>Programme &lt;of&gt; the hospital</h1>", page, StringComparison.Ordinal);
        Assert.Contains("<p>Twice.</p>", page, StringComparison.Ordinal);
        Assert.Empty(ForeignText.Of(new Bundle()));
        Assert.StartsWith("sandbox; default-src 'none'", ForeignText.Policy, StringComparison.Ordinal);
    }
}
