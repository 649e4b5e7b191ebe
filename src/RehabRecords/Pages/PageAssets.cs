using System.Collections.Frozen;
using System.Security.Cryptography;
using Microsoft.Net.Http.Headers;

namespace RehabRecords.Pages;

/// <summary>
/// Stylesheet and scripts of the pages, held in the program itself. The address carries a hash of the content, so a
/// browser may keep what it has for good and never shows a page with yesterday's style.
/// </summary>
internal static class PageAssets
{
    private const string Prefix = "pages/assets/";

    private static readonly FrozenDictionary<string, (byte[] Content, string Hash)> Files = typeof(PageAssets).Assembly.GetManifestResourceNames()
        .Where(name => name.StartsWith(Prefix, StringComparison.Ordinal))
        .ToFrozenDictionary(name => name[Prefix.Length..], Read, StringComparer.Ordinal);

    public static string Address(string file) => $"/assets/{file}?v={Files[file].Hash}";

    public static string Text(string file) => System.Text.Encoding.UTF8.GetString(Files[file].Content);

    public static void MapPageAssets(this IEndpointRouteBuilder routes) =>
        routes.MapMethods("/assets/{file}", ["GET", "HEAD"], (string file, HttpContext http) =>
        {
            if (!Files.TryGetValue(file, out var asset))
                return Results.NotFound();
            http.Response.Headers.CacheControl = "public, max-age=31536000, immutable";
            return Results.Bytes(asset.Content, Type(file), entityTag: new EntityTagHeaderValue($"\"{asset.Hash}\""));
        }).ExcludeFromDescription();

    /// <summary>A file at an address of its own, where the one under /assets does not do.</summary>
    public static IResult Serve(string file) => Results.Bytes(Files[file].Content, Type(file), entityTag: new EntityTagHeaderValue($"\"{Files[file].Hash}\""));

    private static string Type(string file) => Path.GetExtension(file) switch
    {
        ".css" => "text/css; charset=utf-8",
        ".js" => "text/javascript; charset=utf-8",
        ".svg" => "image/svg+xml",
        ".webmanifest" => "application/manifest+json",
        _ => "application/octet-stream",
    };

    private static (byte[] Content, string Hash) Read(string resource)
    {
        using var stream = typeof(PageAssets).Assembly.GetManifestResourceStream(resource)!;
        using var copy = new MemoryStream();
        stream.CopyTo(copy);
        var content = copy.ToArray();
        return (content, Convert.ToHexStringLower(SHA256.HashData(content))[..16]);
    }
}
