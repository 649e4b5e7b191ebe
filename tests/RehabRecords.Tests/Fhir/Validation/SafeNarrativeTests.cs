using RehabRecords.Fhir.Validation;

namespace RehabRecords.Tests.Fhir.Validation;

public class SafeNarrativeTests
{
    [Theory]
    [InlineData("plain text")]
    [InlineData("<p><b>Bold</b> and <i>italic</i>, 2 &lt; 3 &amp; more &#160; space</p>")]
    [InlineData("<a href=\"https://example.org/x?y=1\">a</a><a href=\"http://example.org\">b</a><a href=\"mailto:a@example.org\">c</a><a href=\"tel:+44 20 7946 0000\">f</a><a href=\"#top\">d</a><a name=\"top\">e</a>")]
    [InlineData("<a href=\"Patient/1\">relative</a><a href=\"urn:uuid:0c1e9b1e-6a3b-4b4e-9d7d-0d2f8c5b0a01\">in a transaction</a>")]
    [InlineData("<img alt=\"x\" src=\"#pic\"/><img alt=\"x\" src=\"data:image/png;base64,iVBORw0KGgo=\"/><img alt=\"x\" src=\"data:image/jpeg;base64,/9j/4AA=\"/>")]
    [InlineData("<table class=\"grid\"><tr><td style=\"color: red; margin: 4px\">x</td></tr></table>")]
    public void Safe_content_is_accepted(string content) => Assert.Empty(SafeNarrative.Problems(Div(content)));

    [Theory]
    [InlineData("<script>alert(1)</script>", "script")]
    [InlineData("<style>p{}</style>", "style")]
    [InlineData("<iframe src=\"https://example.org\"></iframe>", "iframe")]
    [InlineData("<form action=\"x\"></form>", "form")]
    [InlineData("<object data=\"x\"></object>", "object")]
    [InlineData("<svg xmlns=\"http://www.w3.org/2000/svg\"><circle/></svg>", "svg")]
    [InlineData("<p onclick=\"x()\">a</p>", "onclick")]
    [InlineData("<img alt=\"a\" src=\"#x\" onerror=\"x()\"/>", "onerror")]
    [InlineData("<a href=\"javascript:alert(1)\">a</a>", "javascript:")]
    [InlineData("<a href=\" javascript:alert(1)\">a</a>", "javascript:")]
    [InlineData("<a href=\"java&#10;script:alert(1)\">a</a>", "href")]
    [InlineData("<a href=\"JaVaScRiPt:alert(1)\">a</a>", "href")]
    [InlineData("<a href=\"vbscript:x\">a</a>", "vbscript:")]
    [InlineData("<a href=\"data:text/html,x\">a</a>", "data:text/html")]
    [InlineData("<a href=\"//example.org/x\">a</a>", "href")]
    [InlineData("<a href=\"ftp://example.org/x\">a</a>", "ftp:")]
    [InlineData("<img alt=\"a\" src=\"http://example.org/seen.png\"/>", "src")]
    [InlineData("<img alt=\"a\" src=\"data:image/svg+xml;base64,AA==\"/>", "src")]
    [InlineData("<p style=\"background:url(http://example.org/x)\">a</p>", "style")]
    [InlineData("<p style=\"background:u\\72l(http://example.org/x)\">a</p>", "style")]
    [InlineData("<p style=\"background:u/**/rl(http://example.org/x)\">a</p>", "style")]
    [InlineData("<p style=\"width: expression(alert(1))\">a</p>", "style")]
    [InlineData("<p style=\"position:fixed;top:0\">a</p>", "style")]
    [InlineData("CPT&reg;", "well-formed")]
    [InlineData("<p>unclosed", "well-formed")]
    [InlineData("   ", "says nothing")]
    public void Unsafe_content_is_refused_naming_it(string content, string named) =>
        Assert.Contains(SafeNarrative.Problems(Div(content)), p => p.Message.Contains(named, StringComparison.OrdinalIgnoreCase));

    [Theory]
    [InlineData("<div>no namespace</div>")]
    [InlineData("<p xmlns=\"http://www.w3.org/1999/xhtml\">no div</p>")]
    [InlineData("<!DOCTYPE d [<!ENTITY x SYSTEM \"file:///etc/passwd\">]><div xmlns=\"http://www.w3.org/1999/xhtml\">&x;</div>")]
    [InlineData("text")]
    public void What_is_not_one_xhtml_div_is_refused(string div) => Assert.NotEmpty(SafeNarrative.Problems(div));

    private static string Div(string content) => $"<div xmlns=\"http://www.w3.org/1999/xhtml\">{content}</div>";
}
