using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Tests.Fhir.Search;

namespace RehabRecords.Tests.Fhir.Store;

public abstract partial class RecordStoreContract
{
    /// <summary>R4 gives these no expression: they speak of the text of a resource, or of a search that is named.</summary>
    private static readonly string[] _withoutExpression = ["_content", "_query", "_text"];

    private const int QuestionsOfEach = 20;

    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    public async Task Every_official_parameter_finds_what_its_expression_says_of_each_resource_also_two_at_a_time_and_through_references(int seed)
    {
        var random = new Random(seed);
        var resources = await StoreEverythingAsync();
        var truth = new OfficialTruth(resources, random);
        var definitions = DefinitionsPack.Open().SearchParameters().Where(d => d is { Code: not null, Type: not SearchParamType.Special }).ToList();
        var asked = new Dictionary<string, List<Asked>>(StringComparer.Ordinal);
        var references = new List<(string Type, SearchParameter Definition, Dictionary<Resource, List<Base>> Values)>();
        var wrong = new List<string>();
        var (questions, hits, chained) = (0, 0, 0);

        async Task AskAsync(string type, string query, Func<Resource, bool> holds)
        {
            var expected = truth.Of(type).Where(holds).Select(r => r.Id!).Order(StringComparer.Ordinal).ToList();
            questions++;
            List<string> found;
            try
            {
                found = [.. (await FindIdsAsync(type, query)).Order(StringComparer.Ordinal)];
            }
            catch (RefusedException refused)
            {
                wrong.Add($"{type}?{Uri.UnescapeDataString(query)} was refused: {refused.Message}");
                return;
            }

            hits += found.Count;
            if (!expected.SequenceEqual(found))
                wrong.Add($"{type}?{Uri.UnescapeDataString(query)} found {found.Count} of {expected.Count}; too many: {string.Join(' ', found.Except(expected).Take(3))}; missed: {string.Join(' ', expected.Except(found).Take(3))}");
        }

        foreach (var kind in ResourceRegistry.Standard.Kinds)
        {
            asked[kind.Type] = [];
            foreach (var definition in definitions.Where(d => d.Base.Any(b => b?.ToString() == kind.Type || b?.ToString() is "Resource" or "DomainResource")))
            {
                if (_withoutExpression.Contains(definition.Code) || definition.Code is "_id" or "_lastUpdated")
                    continue;
                Assert.True(TestIndex.Parameters.Find(kind.Type, definition.Code!) is not null, $"{kind.Type}?{definition.Code} is not offered.");
                IEnumerable<Asked> all;
                if (definition.Type == SearchParamType.Composite)
                {
                    all = truth.PairQuestions(definition.Code!, truth.Of(kind.Type));
                }
                else
                {
                    var values = truth.Values(kind.Type, definition);
                    all = truth.Questions(definition, values);
                    if (definition.Type == SearchParamType.Reference)
                        references.Add((kind.Type, definition, values));
                }

                var some = all.DistinctBy(a => a.Query).OrderBy(_ => random.Next()).Take(QuestionsOfEach).ToList();
                asked[kind.Type].AddRange(some);
                foreach (var one in some)
                    await AskAsync(kind.Type, one.Query, one.Holds);
            }

            for (var i = 0; i < 30 && asked[kind.Type].Count > 0; i++)
            {
                var (one, other) = (asked[kind.Type][random.Next(asked[kind.Type].Count)], asked[kind.Type][random.Next(asked[kind.Type].Count)]);
                await AskAsync(kind.Type, $"{one.Query}&{other.Query}", r => one.Holds(r) && other.Holds(r));
            }
        }

        foreach (var (type, definition, values) in references)
        {
            foreach (var target in values.Values.SelectMany(truth.Targets).Select(t => t.TypeName).Distinct().Where(t => definition.Target.Any(d => d?.ToString() == t)).ToList())
            {
                for (var i = 0; i < 3; i++)
                {
                    var there = asked[target][random.Next(asked[target].Count)];
                    var here = asked[type][random.Next(asked[type].Count)];
                    await AskAsync(type, $"{definition.Code}:{target}.{there.Query}", r => truth.Targets(values[r]).Any(t => t.TypeName == target && there.Holds(t)));
                    await AskAsync(target, $"_has:{type}:{definition.Code}:{here.Query}", r => values.Any(v => truth.Targets(v.Value).Contains(r) && here.Holds(v.Key)));
                    chained++;
                }
            }
        }

        Assert.True(wrong.Count == 0, $"seed {seed}: {wrong.Count} of {questions} wrong\n" + string.Join('\n', wrong.DistinctBy(w => w.Split('=')[0]).Take(40)));
        Assert.True(questions > 3000 && hits > 20_000 && chained > 100, $"{questions} questions, {hits} hits, {chained} chains: too little is asked.");
    }

    private async Task<List<string>> FindIdsAsync(string type, string query)
    {
        var pairs = query.Split('&').Select(p => p.Split('=', 2)).Select(p => KeyValuePair.Create(Uri.UnescapeDataString(p[0]), Uri.UnescapeDataString(p[1])));
        var ids = new List<string>();
        var parsed = SearchQuery.Parse(Store.Parameters, type, pairs, ownBase: TruthValues.OwnBase) with { Count = 500 };
        string? cursor = null;
        do
        {
            var page = await Store.SearchAsync(parsed with { Cursor = cursor });
            ids.AddRange(page.Matches.Select(m => m.Id));
            cursor = page.Next;
        }
        while (cursor is not null);
        return ids;
    }

    /// <summary>The examples of the repository, and for each type resources in which every element has a value.</summary>
    private async Task<List<Resource>> StoreEverythingAsync()
    {
        var resources = new List<Resource>();
        foreach (var file in Directory.EnumerateFiles(Path.Combine(Repository.Root, "examples"), "*.json", SearchOption.AllDirectories).Order(StringComparer.Ordinal))
        {
            if (File.ReadAllText(file).Contains("\"resourceType\"", StringComparison.Ordinal) && Read(file) is { } example)
                resources.AddRange(example is Bundle bundle ? bundle.Entry.Select(e => e.Resource).OfType<Resource>().Append(example) : [example]);
        }

        foreach (var kind in ResourceRegistry.Standard.Kinds)
        {
            for (var turn = 0; turn < 8; turn++)
            {
                var filled = Filled.Resource(kind.Type, turn);
                // What the references of the others lead to.
                filled.Id = (kind.Type, turn) switch { ("Patient", 0) => "1", ("Practitioner", 0) => "2", _ => $"filled-{turn}" };
                resources.Add(filled);
            }
        }

        resources = [.. resources.Where(r => ResourceRegistry.Standard.Has(r.TypeName))];
        var ids = new HashSet<(string, string)>();
        for (var n = 0; n < resources.Count; n++)
        {
            resources[n].Id ??= $"unnamed-{n}";
            if (!ids.Add((resources[n].TypeName, resources[n].Id!)))
                resources[n].Id = $"again-{n}";
            // Two resources cannot hold one identifier.
            if (resources[n].TryGetValue("identifier", out var found))
                foreach (var identifier in found is IEnumerable<Base> many ? many.OfType<Identifier>() : [(Identifier)found])
                    identifier.System = identifier.System is null ? null : $"{identifier.System}/{n}";
        }

        foreach (var chunk in resources.Chunk(100))
        {
            var set = new WriteSet();
            foreach (var resource in chunk)
                set.Create(resource);
            await Store.CommitAsync(set);
        }

        return resources;
    }

    private static Resource? Read(string file)
    {
        try
        {
            return ResourceReader.Trusted<Resource>(File.ReadAllBytes(file));
        }
        catch (InvalidDataException)
        {
            return null;
        }
    }
}
