using System.Xml.Linq;
using QRCoder;

namespace RehabRecords.Pages.Sheets;

/// <summary>An address as a QR code: dark squares only, as one path, so that it prints sharp at any size.</summary>
internal static class QrCode
{
    private static readonly XNamespace Namespace = "http://www.w3.org/2000/svg";

    public static string Svg(string address)
    {
        using var data = QRCodeGenerator.GenerateQrCode(address, QRCodeGenerator.ECCLevel.M);
        var rows = data.ModuleMatrix;
        var path = string.Concat(rows.Index().SelectMany(row => Enumerable.Range(0, row.Item.Length).Where(x => row.Item[x]).Select(x => $"M{x} {row.Index}h1v1h-1z")));
        return new XElement(Namespace + "svg",
            new XAttribute("viewBox", $"0 0 {rows.Count} {rows.Count}"), new XAttribute("class", "qr"), new XAttribute("role", "img"), new XAttribute("aria-label", $"QR code: {address}"),
            new XElement(Namespace + "path", new XAttribute("d", path), new XAttribute("fill", "#000"))).ToString(SaveOptions.DisableFormatting);
    }
}
