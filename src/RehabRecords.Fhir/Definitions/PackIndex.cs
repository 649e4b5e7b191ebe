using System.Text.Json.Serialization;

namespace RehabRecords.Fhir.Definitions;

/// <summary>Where one definition lies in the pack.</summary>
/// <param name="Url">Canonical address without version.</param>
/// <param name="Type">Resource type, such as StructureDefinition.</param>
/// <param name="Version">Business version, or null.</param>
/// <param name="Of">For a StructureDefinition: the type it is about (Patient, Extension, ...). For a SearchParameter: the types that have it, with spaces between.</param>
/// <param name="Kind">For a StructureDefinition: primitive-type, complex-type, resource or logical.</param>
/// <param name="Constrains">True for a profile or extension, false for a base type.</param>
/// <param name="Own">True when it comes from the profiles folder and not from the R4 specification.</param>
/// <param name="Offset">First byte after the index line.</param>
/// <param name="Length">Bytes, without the line feed.</param>
public sealed record PackEntry(
    string Url, string Type, string? Version, string? Of, string? Kind, bool Constrains, bool Own, long Offset, int Length)
{
    /// <summary>The package it comes from (name#version); null for what is in the pack itself.</summary>
    [JsonIgnore]
    public string? Package { get; init; }
}

/// <summary>The first line of the pack: what is in it and how it was made.</summary>
/// <param name="Format">Rises when a reader of the former format could not read it.</param>
/// <param name="Entries">All definitions, in the order of the file.</param>
internal sealed record PackIndex(int Format, IReadOnlyList<PackEntry> Entries)
{
    public const int CurrentFormat = 1;
}

[JsonSourceGenerationOptions(
    PropertyNamingPolicy = JsonKnownNamingPolicy.CamelCase, DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingDefault)]
[JsonSerializable(typeof(PackIndex))]
internal sealed partial class PackIndexJson : JsonSerializerContext;
