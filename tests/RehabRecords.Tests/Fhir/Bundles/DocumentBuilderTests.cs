using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Tests.Progress;

namespace RehabRecords.Tests.Fhir.Bundles;

/// <summary>Documents out of a real store that holds a whole programme, written the one way there is.</summary>
public sealed class DocumentBuilderTests : IAsyncLifetime
{
    private static readonly Lazy<(SearchIndexer Indexer, ResourceValidator Validator)> Shared = new(() =>
    {
        var pack = DefinitionsPack.Open();
        return (new SearchIndexer(SearchParameters.From(pack.SearchParameters(), ResourceRegistry.Standard)), ResourceValidator.Create(pack));
    });

    private readonly string _folder = Directory.CreateTempSubdirectory("document-").FullName;
    private RecordStore _store = null!;
    private RecordWriter _writer = null!;
    private DocumentBuilder _builder = null!;

    public async Task InitializeAsync()
    {
        _store = await TestEngine.OpenAsync(_folder, Shared.Value.Indexer, TimeProvider.System);
        _writer = new RecordWriter(_store, Shared.Value.Validator);
        _builder = new DocumentBuilder(_store, new Uri("http://127.0.0.1:5080"));
        var set = new WriteSet();
        foreach (var resource in FhirProgramme.Everything())
            set.Create(resource);
        await _writer.WriteAsync(set);
    }

    public async Task DisposeAsync()
    {
        await _store.DisposeAsync();
        TestEngine.Drop(_folder);
    }

    private DraftNote Drafting => new(_writer, new ProgressReader(_store), new NoteWriter(_store), ClinicRules.Default);

    private async Task<string> NoteAsync() => (await Drafting.NowAsync(FhirProgramme.Id)).Id;

    private static IEnumerable<string> References(Base element) => element.EnumerateElements()
        .SelectMany(e => e.Value switch { Base one => [one], IEnumerable<Base> many => many, _ => [] })
        .SelectMany(child => (child is ResourceReference { Reference: { } reference } ? [reference] : Array.Empty<string>()).Concat(References(child)));

    [Fact]
    public async Task A_document_passes_its_profile_with_the_note_first()
    {
        var document = await _builder.BuildAsync(await NoteAsync());
        document.Id = "document";
        Assert.IsType<Composition>(document.Entry[0].Resource);
        var problems = Shared.Value.Validator.Validate(document, RehabRecords.Terms.Profiles.ProgressNoteDocument).Where(i => i.Refuses).Select(i => $"{i.Expression}: {i.Message}");
        Assert.Empty(problems);
    }

    [Fact]
    public async Task Everything_referred_to_is_inside_in_the_version_it_was_cited_in()
    {
        var document = await _builder.BuildAsync(await NoteAsync());
        var inside = document.Entry.Select(e => e.Resource!).ToList();
        var open = inside.Select(r => $"{r.TypeName}/{r.Id}").ToHashSet();
        var exact = inside.Select(r => $"{r.TypeName}/{r.Id}/_history/{r.VersionId}").ToHashSet();
        var references = inside.SelectMany(References).Distinct().ToList();
        Assert.All(references, r => Assert.Contains(r, r.Contains("/_history/", StringComparison.Ordinal) ? exact : open));
        Assert.All(document.Entry, e => Assert.Equal($"http://127.0.0.1:5080/fhir/{e.Resource!.TypeName}/{e.Resource.Id}", e.FullUrl));
    }

    [Fact]
    public async Task Nothing_is_inside_that_nothing_refers_to()
    {
        var stranger = new WriteSet();
        stranger.Create(new Patient { Id = "somebody-else", Name = [new HumanName { Text = "Somebody Else" }] });
        await _writer.WriteAsync(stranger);
        var document = await _builder.BuildAsync(await NoteAsync());
        var reachable = document.Entry.SelectMany(e => References(e.Resource!)).Select(r => string.Join('/', r.Split('/').Take(2))).ToHashSet();
        Assert.All(document.Entry.Skip(1), e => Assert.Contains($"{e.Resource!.TypeName}/{e.Resource.Id}", reachable));
        Assert.DoesNotContain(document.Entry, e => e.Resource!.Id == "somebody-else");
    }

    [Fact]
    public async Task The_same_content_is_the_same_document_and_other_content_another()
    {
        var id = await NoteAsync();
        var first = ResourceWriter.Json(await _builder.BuildAsync(id));
        Assert.Equal(first, ResourceWriter.Json(await _builder.BuildAsync(id)));
        Assert.Equal(first, ResourceWriter.Json(await _builder.BuildAsync(await NoteAsync())));

        var set = new WriteSet();
        foreach (var resource in FhirProgramme.Session("s6", 14, null, 20, 1))
            set.Create(resource);
        await _writer.WriteAsync(set);
        Assert.Equal(id, await NoteAsync());
        var second = await _builder.BuildAsync(id);
        var earlier = await _builder.BuildAsync(id, version: 1);
        Assert.Equal("2", second.Entry[0].Resource!.VersionId);
        Assert.NotEqual(earlier.Identifier!.Value, second.Identifier!.Value);
        Assert.Equal(first, ResourceWriter.Json(earlier));
        Assert.StartsWith("urn:uuid:", second.Identifier.Value);
    }

    [Fact]
    public async Task A_draft_that_would_say_the_same_is_not_written_again()
    {
        var (id, isNew) = await Drafting.NowAsync(FhirProgramme.Id);
        Assert.True(isNew);
        Assert.Equal((id, false), await Drafting.NowAsync(FhirProgramme.Id));
        Assert.Equal(1, (await _store.ReadAsync("Composition", id))!.Version);
    }

    [Fact]
    public async Task Drafts_asked_for_at_the_same_moment_end_in_one_note()
    {
        var ids = await Task.WhenAll(Enumerable.Range(0, 8).Select(_ => Task.Run(NoteAsync)));
        Assert.Single(ids.Distinct());
        Assert.Single(await _store.FindAllAsync<Composition>("subject=Patient/tilda"));
        Assert.Single(await _store.FindAllAsync<Device>("_id=drafting-software"));
    }

    [Fact]
    public async Task After_a_note_was_signed_the_next_one_begins()
    {
        var id = await NoteAsync();
        var (note, version) = (await _store.GetAsync<Composition>(id))!.Value;
        note.Status = CompositionStatus.Final;
        var set = new WriteSet();
        set.Update(note, version);
        await _store.CommitAsync(set);
        var (next, isNew) = await Drafting.NowAsync(FhirProgramme.Id);
        Assert.True(isNew);
        Assert.NotEqual(id, next);
        Assert.EndsWith("/2", (await _store.GetAsync<Composition>(next))!.Value.Resource.Identifier!.Value);
    }

    [Fact]
    public async Task Every_source_of_every_sentence_is_in_the_store_in_that_version()
    {
        var note = (await _store.GetAsync<Composition>(await NoteAsync()))!.Value.Resource;
        foreach (var address in NoteComposition.Read(note).SelectMany(s => s.Evidence).Distinct())
        {
            var parts = address.Split('/');
            Assert.NotNull(await _store.ReadVersionAsync(parts[0], parts[1], int.Parse(parts[3])));
        }
    }

    [Fact]
    public async Task Every_source_of_every_sentence_is_in_the_document_in_that_version()
    {
        var id = await NoteAsync();
        var sources = NoteComposition.Read((await _store.GetAsync<Composition>(id))!.Value.Resource).SelectMany(s => s.Evidence).ToHashSet();
        var held = (await _builder.BuildAsync(id)).Entry.Select(e => $"{e.Resource!.TypeName}/{e.Resource.Id}/_history/{e.Resource.VersionId}").ToHashSet();
        Assert.NotEmpty(sources);
        Assert.Subset(held, sources);
    }

    [Fact]
    public async Task A_document_that_could_not_hold_what_it_refers_to_is_refused()
    {
        var id = await NoteAsync();
        var (note, version) = (await _store.GetAsync<Composition>(id))!.Value;
        note.Custodian = new ResourceReference("Organization/nowhere");
        var set = new WriteSet();
        set.Update(note, version);
        await _store.CommitAsync(set); // Past the writer, which would refuse it.
        var refused = await Assert.ThrowsAsync<RefusedException>(() => _builder.BuildAsync(id));
        Assert.Contains("Organization/nowhere", refused.Message);
    }

    [Fact]
    public async Task There_is_no_document_of_a_note_that_is_not_there() =>
        Assert.Equal(Refusal.NotFound, (await Assert.ThrowsAsync<RefusedException>(() => _builder.BuildAsync("nothing"))).Refusal);

    [Fact]
    public async Task The_findings_of_the_store_are_those_of_the_resources()
    {
        var stored = await new ProgressReader(_store).ReadAsync(FhirProgramme.Id);
        var mapped = ProgrammeMapping.Map(FhirProgramme.Id, FhirProgramme.Everything());
        Assert.Equal(
            NoteDraft.Statements(mapped, Findings.Of(mapped, MeasureCatalogue.Default, ClinicRules.Default)).Select(s => s.Text),
            NoteDraft.Statements(stored, Findings.Of(stored, MeasureCatalogue.Default, ClinicRules.Default)).Select(s => s.Text));
    }
}
