using System.Text;
using System.Text.Json;
using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Snapshot;
using Hl7.Fhir.Specification.Source;
using Hl7.Fhir.Specification.Terminology;
using RehabRecords.Fhir.Parsing;

namespace RehabRecords.Fhir.Definitions;

/// <summary>Makes the definitions pack from the R4 specification zip and the folder of our own profiles. Runs in the build.</summary>
public static class PackBuilder
{
    /// <summary>Digits before the index line, which say how long it is.</summary>
    internal const int HeaderLength = 9;

    /// <summary>A value set larger than this is left to be expanded when it is asked for.</summary>
    private const int MaxExpansion = 2000;

    /// <summary>Runs the build step; answers the exit code.</summary>
    public static int Run(string[] args, TextWriter errors)
    {
        ArgumentNullException.ThrowIfNull(args);
        ArgumentNullException.ThrowIfNull(errors);
        var zip = Value(args, "--specification");
        var profiles = Value(args, "--profiles");
        var target = Value(args, "--out");
        if (zip is null || profiles is null || target is null)
        {
            errors.WriteLine("usage: build-definitions --specification <specification.zip> --profiles <folder> --out <file>");
            return 2;
        }

        try
        {
            Build(zip, profiles, target);
            return 0;
        }
        catch (InvalidDataException e)
        {
            errors.WriteLine(e.Message);
            return 1;
        }
    }

    /// <exception cref="InvalidDataException">The zip is not the specification, or a profile is wrong; the message names the file.</exception>
    public static void Build(string specificationZip, string profilesFolder, string target)
    {
        var all = new List<(Resource Resource, bool Own)>();
        // Ours are read first: a mistake in them is told within a second.
        var own = OwnProfiles(profilesFolder).ToList();
        var official = SpecificationZip.Read(specificationZip).ToList();
        all.AddRange(official.Where(Wanted).Select(r => (r, false)));
        all.AddRange(own.Select(r => (r, true)));

        var resolver = new InMemoryResourceResolver(all.Select(a => a.Resource).ToArray());
        MakeSnapshots(all, resolver);
        // As they were published, before anything is taken out or expanded.
        PublishedPack.Write(
            own.Select(r => (r, true)).Concat(official.Select(r => (r, false))).Where(a => DefinitionValues.Types.Contains(a.Item1.TypeName)),
            Path.Combine(Path.GetDirectoryName(Path.GetFullPath(target))!, PublishedDefinitions.FileName));
        ExpandValueSets(all.Select(a => a.Resource).OfType<ValueSet>(), resolver);
        Write(all, target);
    }

    private static string? Value(string[] args, string name)
    {
        var at = Array.IndexOf(args, name);
        return at >= 0 && at + 1 < args.Length ? args[at + 1] : null;
    }

    private static bool Wanted(Resource resource) =>
        resource is StructureDefinition { Kind: not StructureDefinition.StructureDefinitionKind.Logical }
            or ValueSet or CodeSystem or SearchParameter or CompartmentDefinition;

    private static IEnumerable<Resource> OwnProfiles(string folder)
    {
        if (!Directory.Exists(folder))
            yield break;
        foreach (var file in Directory.EnumerateFiles(folder, "*.json", SearchOption.AllDirectories).Order(StringComparer.Ordinal))
        {
            Resource resource;
            try
            {
                resource = ResourceReader.Read(File.ReadAllBytes(file), FhirFormat.Json);
            }
            catch (RefusedException e)
            {
                throw new InvalidDataException($"{file}: {string.Join("; ", e.Issues.Select(i => $"{i.Expression}: {i.Message}"))}");
            }

            if (resource is not IConformanceResource { Url.Length: > 0 })
                throw new InvalidDataException($"{file}: a definition needs a url.");
            CheckExpressions(resource, file);
            yield return resource;
        }
    }

    private static void CheckExpressions(Resource resource, string file)
    {
        var expressions = resource switch
        {
            StructureDefinition s => (s.Differential?.Element ?? []).SelectMany(e => e.Constraint).Select(c => c.Expression),
            SearchParameter p => [p.Expression],
            _ => [],
        };
        foreach (var expression in expressions.OfType<string>())
            if (ExpressionLimits.Problem(expression) is { } problem)
                throw new InvalidDataException($"{file}: {problem}");
    }

    private static void MakeSnapshots(List<(Resource Resource, bool Own)> all, IAsyncResourceResolver resolver)
    {
        var generator = new SnapshotGenerator(resolver, new SnapshotGeneratorSettings
        {
            GenerateSnapshotForExternalProfiles = true,
            ForceRegenerateSnapshots = false,
            GenerateElementIds = true,
        });
        foreach (var structure in all.Where(a => a.Own).Select(a => a.Resource).OfType<StructureDefinition>())
        {
            if (!structure.HasSnapshot)
                generator.UpdateAsync(structure).GetAwaiter().GetResult();
            var wrong = generator.Outcome?.Issue.Where(i => i.Severity is OperationOutcome.IssueSeverity.Error or OperationOutcome.IssueSeverity.Fatal).ToList();
            if (!structure.HasSnapshot || wrong is { Count: > 0 })
            {
                throw new InvalidDataException(
                    $"{structure.Url}: no snapshot can be made. {string.Join("; ", (wrong ?? []).Select(i => i.Details?.Text ?? i.Diagnostics))}");
            }
        }
    }

    // Done here so that it need not be done, under a lock, by the first request that meets a code.
    internal static void ExpandValueSets(IEnumerable<ValueSet> sets, IAsyncResourceResolver resolver)
    {
        var expander = new ValueSetExpander(new ValueSetExpanderSettings { ValueSetSource = resolver, MaxExpansionSize = MaxExpansion });
        var all = sets.ToList();
        foreach (var set in all.Where(s => !s.HasExpansion))
        {
            try
            {
                expander.ExpandAsync(set).GetAwaiter().GetResult();
            }
            catch (Exception e) when (e is TerminologyServiceException or InvalidOperationException or NotSupportedException)
            {
                // Needs a terminology that R4 does not carry (LOINC, SNOMED CT, languages): stays as it was.
                set.Expansion = null;
            }
        }

        // The same input must give the same pack; some sets were expanded in passing, for others that include them.
        foreach (var expansion in all.Select(s => s.Expansion).OfType<ValueSet.ExpansionComponent>())
        {
            expansion.Identifier = null;
            expansion.TimestampElement = null!;
        }
    }

    internal static PackEntry Entry(Resource resource, bool own, long offset, int length)
    {
        var structure = resource as StructureDefinition;
        return new PackEntry(
            ((IConformanceResource)resource).Url!,
            resource.TypeName,
            (resource as IVersionableConformanceResource)?.Version,
            structure?.Type ?? (resource is SearchParameter parameter ? string.Join(' ', parameter.Base) : null),
            structure?.Kind?.ToString() is { } kind ? KindCode(kind) : null,
            structure?.Derivation == StructureDefinition.TypeDerivationRule.Constraint,
            own,
            offset,
            length);
    }

    private static void Write(List<(Resource Resource, bool Own)> all, string target)
    {
        var body = new MemoryStream();
        var entries = new List<PackEntry>(all.Count);
        foreach (var (resource, own) in all)
        {
            Slimming.Slim(resource, own);
            var json = ResourceWriter.Json(resource);
            entries.Add(Entry(resource, own, body.Position, json.Length));
            body.Write(json);
            body.WriteByte((byte)'\n');
        }

        var index = JsonSerializer.SerializeToUtf8Bytes(new PackIndex(PackIndex.CurrentFormat, entries), PackIndexJson.Default.PackIndex);
        Directory.CreateDirectory(Path.GetDirectoryName(Path.GetFullPath(target))!);
        var unfinished = target + ".unfinished";
        using (var file = File.Create(unfinished))
        {
            file.Write(Encoding.ASCII.GetBytes($"{index.Length + 1,HeaderLength - 1}\n"));
            file.Write(index);
            file.WriteByte((byte)'\n');
            body.WriteTo(file);
        }

        File.Move(unfinished, target, overwrite: true);
    }

    private static string KindCode(string kind) => kind switch
    {
        "PrimitiveType" => "primitive-type",
        "ComplexType" => "complex-type",
        "Resource" => "resource",
        _ => "logical",
    };
}
