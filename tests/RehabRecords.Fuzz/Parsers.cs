using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Packages;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;

namespace RehabRecords.Fuzz;

/// <summary>A body: refused, or read as a resource that can be written, read again as the same, and judged.</summary>
internal sealed class BodyTarget(Seeds seeds, ResourceValidator validator, FhirFormat format) : Target
{
    public override string Name => format == FhirFormat.Json ? "json" : "xml";

    public override byte[] Make(Chance chance)
    {
        if (format == FhirFormat.Xml)
            return Mutations.Bytes(chance.Of(seeds.Xml), chance, seeds.Xml, chance.OneIn(2) ? Dictionary.Xml : Dictionary.Texts);
        var seed = chance.Of(seeds.Json);
        return chance.OneIn(3)
            ? Mutations.Bytes(seed, chance, seeds.Json, chance.OneIn(2) ? Dictionary.Json : Dictionary.Texts)
            : Mutations.Json(seed, chance, seeds.Json);
    }

    public override Task<string?> RunAsync(byte[] input, Chance chance)
    {
        Resource read;
        try
        {
            read = ResourceReader.Read(input, format);
        }
        catch (RefusedException refused)
        {
            return Task.FromResult(refused.Issues.Count == 0 ? "refused without an issue" : null);
        }

        var json = ResourceWriter.Json(read);
        var again = ResourceReader.Read(json, FhirFormat.Json);
        if (!json.AsSpan().SequenceEqual(ResourceWriter.Json(again)))
            return Task.FromResult<string?>("written, read and written again it differs");
        ResourceReader.Read(ResourceWriter.Xml(read), FhirFormat.Xml);
        validator.Validate(read);
        return Task.FromResult<string?>(null);
    }
}

/// <summary>A package: not used at all, or used as far as it is sound.</summary>
internal sealed class PackageTarget(Seeds seeds, DefinitionsPack pack) : Target
{
    private static readonly PackageLimits Limits = new() { MaxUnpackedBytes = 16 << 20 };

    public override string Name => "package";

    public override int Weight => 2;

    public override byte[] Make(Chance chance)
    {
        switch (chance.Below(6))
        {
            case 0:
                return Mutations.Bytes(Seeds.Gzip(seeds.Tar), chance, [seeds.Tar], Dictionary.Texts);
            case 1 or 2:
                return Seeds.Gzip(Mutations.Bytes(seeds.Tar, chance, seeds.Json, ["\0", "../", "package/", "ustar", "7777777", "L", "x"]));
            default:
                // As from another publisher, so that its own address does not keep it from being looked at.
                var definitions = Enumerable.Range(0, chance.Between(1, 3)).Select(_ => Mutations.Json(Elsewhere(chance.Of(seeds.Definitions)), chance, seeds.Definitions)).ToList();
                return Seeds.Gzip(Seeds.MakeTar(definitions));
        }
    }

    public override Task<string?> RunAsync(byte[] input, Chance chance)
    {
        PackageSet packages;
        try
        {
            packages = PackageSet.Of([FhirPackage.Read("fuzz.tgz", input, Limits)], pack);
        }
        catch (PackageUnusableException)
        {
            return Task.FromResult<string?>(null);
        }

        var with = pack.With(packages);
        if (chance.OneIn(10) && with.PackageProfiles().FirstOrDefault() is { Of: { } type } profile
            && ModelInfo.ModelInspector.FindClassMapping(type)?.CreateInstance() is Resource resource)
        {
            using var validator = ResourceValidator.Create(with);
            validator.Validate(resource, profile.Url);
        }

        return Task.FromResult<string?>(null);
    }

    private static byte[] Elsewhere(byte[] definition) =>
        Encoding.UTF8.GetBytes(Encoding.UTF8.GetString(definition).Replace("https://rehabrecords.example/fhir", "https://elsewhere.example/fhir", StringComparison.Ordinal));
}

/// <summary>Single texts: units, references, narrative, expressions.</summary>
internal sealed class TextTarget : Target
{
    private static readonly byte[][] Texts = [.. Dictionary.Texts.Select(Encoding.UTF8.GetBytes)];

    public override string Name => "text";

    public override int Weight => 3;

    public override byte[] Make(Chance chance) => Mutations.Bytes(chance.Of(Texts), chance, Texts, Dictionary.Texts);

    public override Task<string?> RunAsync(byte[] input, Chance chance)
    {
        var text = Encoding.UTF8.GetString(input.AsSpan(0, Math.Min(input.Length, 100_000)));
        UcumCode.IsValid(text);
        LiteralReference.Of(text);
        PlainText.HtmlTagIn(text);
        SafeNarrative.Problems(text);
        ExpressionLimits.Problem(text);
        VersionTag.Read(text);
        return Task.FromResult<string?>(null);
    }
}
