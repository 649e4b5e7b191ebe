using System.Reflection;
using System.Text.Json;
using System.Text.Json.Serialization;

namespace RehabRecords.Clinical;

/// <summary>A data file of the catalogue is wrong; the message names the file and the field.</summary>
public sealed class CatalogueException : Exception
{
    /// <summary>Names file and field.</summary>
    public CatalogueException(string file, string field, string problem, Exception? inner = null)
        : base($"Data/{file}: {field}: {problem}", inner)
    {
        File = file;
        Field = field;
    }

    /// <summary>File, as a path under Data/.</summary>
    public string File { get; }

    /// <summary>Field within the file.</summary>
    public string Field { get; }
}

/// <summary>Reads the embedded data files strictly: an unknown, missing or mistyped field stops the program at its start.</summary>
internal static class DataFile
{
    private static readonly JsonSerializerOptions Strict = new()
    {
        PropertyNamingPolicy = JsonNamingPolicy.CamelCase,
        UnmappedMemberHandling = JsonUnmappedMemberHandling.Disallow,
        RespectNullableAnnotations = true,
        RespectRequiredConstructorParameters = true,
        Converters = { new JsonStringEnumConverter(JsonNamingPolicy.KebabCaseLower, allowIntegerValues: false) },
    };

    private static readonly Assembly Here = typeof(DataFile).Assembly;

    public static T Read<T>(string file)
    {
        using var stream = Here.GetManifestResourceStream(file) ?? throw new CatalogueException(file, "$", "is not embedded");
        using var text = new StreamReader(stream);
        return Parse<T>(file, text.ReadToEnd());
    }

    public static IEnumerable<(string File, string Json)> Folder(string folder)
    {
        foreach (var file in Here.GetManifestResourceNames().Where(n => n.StartsWith(folder + "/", StringComparison.Ordinal)).Order(StringComparer.Ordinal))
        {
            using var text = new StreamReader(Here.GetManifestResourceStream(file)!);
            yield return (file, text.ReadToEnd());
        }
    }

    public static T Parse<T>(string file, string json)
    {
        try
        {
            return JsonSerializer.Deserialize<T>(json, Strict) ?? throw new CatalogueException(file, "$", "is empty");
        }
        catch (JsonException wrong)
        {
            throw new CatalogueException(file, wrong.Path ?? "$", wrong.Message, wrong);
        }
    }
}
