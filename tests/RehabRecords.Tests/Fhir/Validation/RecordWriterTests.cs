using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;
using RehabRecords.Tests.Fhir.Definitions;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Validation;

/// <summary>What enters the record is valid and points at what is there, or nothing of the set enters.</summary>
public sealed class RecordWriterTests : IAsyncLifetime
{
    private readonly string _folder = Directory.CreateTempSubdirectory("writer").FullName;
    private RecordStore _store = null!;
    private RecordWriter _writer = null!;

    public static TheoryData<string, string, Refusal, string, string> Bad => new()
    {
        // What is wrong, the resource, how it is refused, the element, words of the message.
        { "nobody of that id", Observation("\"subject\":{\"reference\":\"Patient/nobody\"}"), Refusal.Invalid, "Observation.subject", "There is no Patient/nobody" },
        { "a version that never was", Observation("\"subject\":{\"reference\":\"Patient/known/_history/7\"}"), Refusal.Invalid, "Observation.subject", "no version 7" },
        { "one that was deleted", Observation("\"subject\":{\"reference\":\"Patient/gone\"}"), Refusal.Invalid, "Observation.subject", "was deleted" },
        { "a urn outside a transaction", Observation("\"subject\":{\"reference\":\"urn:uuid:0c3151bd-1cbf-4d64-b04d-cd9187a4c6e0\"}"), Refusal.Invalid, "Observation.subject", "transaction only" },
        { "a condition outside a transaction", Observation("\"subject\":{\"reference\":\"Patient?identifier=x\"}"), Refusal.Invalid, "Observation.subject", "transaction only" },
        { "no address at all", Observation("\"subject\":{\"reference\":\"the patient\"}"), Refusal.Invalid, "Observation.subject", "neither Type/id" },
        { "an id with a slash", Observation("\"subject\":{\"reference\":\"Patient/a/b\"}"), Refusal.Invalid, "Observation.subject", "neither Type/id" },
        { "a type not allowed there", Observation("\"subject\":{\"reference\":\"Observation/known\"}"), Refusal.Malformed, "Observation.subject", "points at a Observation" },
        { "an invariant of R4", Observation("\"dataAbsentReason\":{\"text\":\"x\"},\"valueInteger\":1"), Refusal.Malformed, "Observation", "obs-6" },
        { "an unknown profile", Observation("\"meta\":{\"profile\":[\"https://other.example/p\"]}"), Refusal.Invalid, "Observation.meta.profile", "not known here" },
        { "an unknown extension", Observation("\"extension\":[{\"url\":\"https://other.example/e\",\"valueBoolean\":true}]"), Refusal.Invalid, "Observation.extension[0]", "Unknown extension" },
        { "a unit that is none", Observation("\"valueQuantity\":{\"value\":1,\"system\":\"http://unitsofmeasure.org\",\"code\":\"floops\"}"), Refusal.Malformed, "Observation.value", "floops" },
        { "a profile of ours not met", "{\"resourceType\":\"Goal\",\"meta\":{\"profile\":[\"https://rehabrecords.example/fhir/StructureDefinition/goal\"]},\"lifecycleStatus\":\"active\",\"description\":{\"text\":\"x\"},\"subject\":{\"reference\":\"Patient/known\"}}", Refusal.Invalid, "Goal", "" },
    };

    public async Task InitializeAsync()
    {
        _store = await TestEngine.OpenAsync(_folder, TestIndex.Indexer, TimeProvider.System);
        _writer = new RecordWriter(_store, SharedDefinitions.Validator);
        var set = new WriteSet();
        set.Create(new Patient { Id = "known", Active = true });
        set.Create(new Patient { Id = "gone", Active = true });
        await _writer.WriteAsync(set);
        var delete = new WriteSet();
        delete.Delete("Patient", "gone", 1);
        await _writer.WriteAsync(delete);
    }

    public async Task DisposeAsync()
    {
        await _store.DisposeAsync();
        TestEngine.Drop(_folder);
    }

    [Theory]
    [MemberData(nameof(Bad))]
    public async Task Is_refused_and_nothing_of_the_set_is_stored(string wrong, string body, Refusal refusal, string expression, string message)
    {
        var set = new WriteSet();
        set.Create(new Patient { Id = "beside", Active = true });
        var resource = set.Create(Read(body));
        var refused = await Assert.ThrowsAsync<RefusedException>(() => _writer.WriteAsync(set));
        Assert.True(refusal == refused.Refusal, $"{wrong}: {refused.Refusal}: {string.Join("; ", refused.Issues)}");
        Assert.True(
            refused.Issues.Any(i => i.Expression.StartsWith(expression, StringComparison.Ordinal) && i.Message.Contains(message, StringComparison.Ordinal)),
            $"{wrong}: {string.Join("; ", refused.Issues)}");
        Assert.Null(await _store.ReadAsync("Patient", "beside"));
        Assert.Null(await _store.ReadAsync(resource.TypeName, resource.Id!));
    }

    [Fact]
    public async Task Resources_of_one_set_may_refer_to_each_other_and_to_the_versions_they_become()
    {
        var set = new WriteSet();
        set.Create(new Patient { Id = "new", Active = true });
        set.Create((Observation)Read(Observation("\"id\":\"o\",\"subject\":{\"reference\":\"Patient/new\"}")));
        set.Update(new Patient { Id = "known", Active = false }, 1);
        set.Create(new Provenance
        {
            Target = [new ResourceReference("Observation/o/_history/1"), new ResourceReference("Patient/known/_history/2"), new ResourceReference("Patient/known/_history/1")],
            Recorded = new DateTimeOffset(2026, 3, 9, 12, 0, 0, TimeSpan.Zero),
            Agent = [new() { Who = new ResourceReference("Patient/new") }],
        });
        var result = await _writer.WriteAsync(set);
        Assert.Equal(4, result.Written.Count);
    }

    [Fact]
    public async Task A_reference_to_what_the_same_set_deletes_is_refused()
    {
        var set = new WriteSet();
        set.Delete("Patient", "known", 1);
        set.Create(Read(Observation("\"subject\":{\"reference\":\"Patient/known\"}")));
        var refused = await Assert.ThrowsAsync<RefusedException>(() => _writer.WriteAsync(set));
        Assert.Contains("deleted by this same request", refused.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_repeat_gets_the_earlier_answer_even_if_it_would_be_refused_now()
    {
        WriteSet Set() => new()
        {
            Key = new IdempotencyKey("client", "key-1", "hash"),
            Answer = new StoredAnswer(201, "/api/x/1", "{}"u8.ToArray()),
        };
        var first = Set();
        var result = first.Create(Read(Observation("\"subject\":{\"reference\":\"Patient/known\"}")));
        await _writer.WriteAsync(first);
        var delete = new WriteSet();
        delete.Delete("Observation", result.Id!, 1);
        delete.Delete("Patient", "known", 1);
        await _writer.WriteAsync(delete);

        var again = Set();
        again.Create(Read(Observation("\"subject\":{\"reference\":\"Patient/known\"}")));
        var repeat = await _writer.WriteAsync(again);
        Assert.True(repeat.WasRepeat);
        Assert.Equal("/api/x/1", repeat.EarlierAnswer!.Location);
    }

    [Fact]
    public async Task A_document_is_stored_as_complete_in_itself()
    {
        var document = (Bundle)Read(Encoding.UTF8.GetString(File.ReadAllBytes(Path.Combine(Repository.Root, "examples", "Bundle-note-week-1-document.json"))));
        var set = new WriteSet();
        set.Create(document);
        Assert.Single((await _writer.WriteAsync(set)).Written);
    }

    private static string Observation(string more) => "{\"resourceType\":\"Observation\",\"status\":\"final\",\"code\":{\"text\":\"x\"}," + more + "}";

    private static Resource Read(string body) => ResourceReader.Read(Encoding.UTF8.GetBytes(body), FhirFormat.Json);
}
