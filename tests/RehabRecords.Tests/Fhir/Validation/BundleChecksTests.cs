using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Fhir.Definitions;

namespace RehabRecords.Tests.Fhir.Validation;

/// <summary>A sound document, and what happens when one thing about it is changed.</summary>
public class BundleChecksTests
{
    private const string Server = "https://clinic.example/fhir/";

    public static TheoryData<string, Action<Bundle>, string, string> Faults => new()
    {
        { "the subject is missing", b => b.Entry.RemoveAt(1), "Bundle.entry[0].resource.subject", "does not hold Patient/p" },
        { "the author is missing", b => b.Entry.RemoveAt(2), "Bundle.entry[0].resource.author[0]", "does not hold Device/d" },
        { "a section entry is missing", b => b.Entry.RemoveAt(3), "Bundle.entry[0].resource.section[0].entry[0]", "does not hold Observation/o" },
        { "an entry nothing refers to", b => Add(b, new Organization { Id = "x", Name = "X" }), "Bundle.entry[4]", "has no part in the document" },
        { "a fullUrl twice", b => { Add(b, new Device { Id = "d" }); }, "Bundle.entry[4].fullUrl", "occurs twice" },
        { "a relative fullUrl", b => b.Entry[1].FullUrl = "Patient/p", "Bundle.entry[1].fullUrl", "is relative" },
        { "a fullUrl of another id", b => b.Entry[1].Resource!.Id = "other", "Bundle.entry[1].fullUrl", "does not agree" },
        { "a fullUrl without an id in the resource", b => b.Entry[1].Resource!.Id = null, "Bundle.entry[1].fullUrl", "does not agree" },
        { "a fullUrl that names a version", b => b.Entry[1].FullUrl = Server + "Patient/p/_history/1", "Bundle.entry[1].fullUrl", "names a version" },
        { "a relative reference beside a urn:uuid", b => b.Entry[0].FullUrl = "urn:uuid:0c3151bd-1cbf-4d64-b04d-cd9187a4c6e0", "Bundle.entry[0].resource.subject", "has no meaning" },
        { "a urn:uuid of no entry", b => ((Composition)b.Entry[0].Resource!).Subject!.Reference = "urn:uuid:0c3151bd-1cbf-4d64-b04d-cd9187a4c6e0", "Bundle.entry[0].resource.subject", "names no entry" },
        { "a version that is not there", b => ((Composition)b.Entry[0].Resource!).Section[0].Entry[0].Reference = "Observation/o/_history/3", "Bundle.entry[0].resource.section[0].entry[0]", "holds version 1" },
        { "another patient's result", b => OtherPatient(b), "Bundle.entry[3].resource.subject", "about one person" },
        { "a target of a wrong type", b => ((Composition)b.Entry[0].Resource!).Author[0].Reference = "Observation/o", "Bundle.entry[0].resource.author[0]", "points at a Observation" },
        { "updated before it was dated", b => b.Entry[0].Resource!.Meta = new Meta { LastUpdated = new DateTimeOffset(2026, 1, 1, 0, 0, 0, TimeSpan.Zero) }, "Bundle.entry[0].resource.date", "before its date" },
        { "the self link twice", b => b.Link = [new() { Relation = "self", Url = Server }, new() { Relation = "self", Url = Server }], "Bundle", "self occurs twice" },
    };

    [Fact]
    public void A_sound_document_is_accepted() => Assert.Empty(Errors(Document()));

    [Fact]
    public void A_sound_document_with_the_named_version_is_accepted()
    {
        var document = Document();
        ((Composition)document.Entry[0].Resource!).Section[0].Entry[0].Reference = "Observation/o/_history/1";
        Assert.Empty(Errors(document));
    }

    [Fact]
    public void A_provenance_of_the_document_has_a_part_in_it()
    {
        var document = Document();
        Add(document, new Provenance
        {
            Id = "v",
            Target = [new ResourceReference("Composition/c")],
            RecordedElement = new Instant(new DateTimeOffset(2026, 3, 9, 12, 0, 0, TimeSpan.Zero)),
            Agent = [new Provenance.AgentComponent { Who = new ResourceReference("Device/d") }],
        });
        Assert.Empty(Errors(document));
    }

    [Theory]
    [MemberData(nameof(Faults))]
    public void A_fault_is_refused_where_it_is(string fault, Action<Bundle> change, string expression, string message)
    {
        var document = Document();
        change(document);
        var errors = Errors(document);
        Assert.True(
            errors.Any(i => i.Expression == expression && i.Message.Contains(message, StringComparison.Ordinal)), $"{fault}: {string.Join("; ", errors)}");
    }

    [Fact]
    public void A_transaction_may_point_at_what_the_server_has()
    {
        var transaction = new Bundle
        {
            Type = Bundle.BundleType.Transaction,
            Entry =
            [
                new()
                {
                    FullUrl = "urn:uuid:0c3151bd-1cbf-4d64-b04d-cd9187a4c6e0",
                    Resource = Result("Patient/somebody"),
                    Request = new() { Method = Bundle.HTTPVerb.POST, Url = "Observation" },
                },
            ],
        };
        Assert.Empty(Errors(transaction));
        ((Observation)transaction.Entry[0].Resource!).Subject!.Reference = "urn:uuid:11111111-1cbf-4d64-b04d-cd9187a4c6e0";
        Assert.Contains(Errors(transaction), i => i.Message.Contains("names no entry", StringComparison.Ordinal));
    }

    [Theory]
    [InlineData(true, Bundle.SearchEntryMode.Match, true)]
    [InlineData(false, Bundle.SearchEntryMode.Match, false)]
    [InlineData(true, Bundle.SearchEntryMode.Outcome, false)]
    public void A_search_result_names_what_it_found(bool withId, Bundle.SearchEntryMode mode, bool accepted)
    {
        var bundle = new Bundle { Type = Bundle.BundleType.Searchset, Total = 1 };
        bundle.Entry.Add(new() { FullUrl = Server + "Patient/p", Resource = new Patient { Id = withId ? "p" : null, Active = true }, Search = new() { Mode = mode } });
        Assert.Equal(accepted, Errors(bundle).Count == 0);
    }

    private static Bundle Document()
    {
        var composition = new Composition
        {
            Id = "c",
            Status = CompositionStatus.Preliminary,
            Type = new CodeableConcept("http://loinc.org", "11508-9"),
            Subject = new ResourceReference("Patient/p"),
            Date = "2026-03-09T10:00:00Z",
            Author = [new ResourceReference("Device/d")],
            Title = "A note",
            Section = [new() { Title = "Objective", Entry = [new ResourceReference("Observation/o")] }],
        };
        var result = Result("Patient/p");
        result.Id = "o";
        result.Meta = new Meta { VersionId = "1" };
        var bundle = new Bundle
        {
            Type = Bundle.BundleType.Document,
            Identifier = new Identifier("urn:ietf:rfc:3986", "urn:uuid:ba2d1426-ed83-4d55-8032-c6345382c92b"),
            Timestamp = new DateTimeOffset(2026, 3, 9, 10, 0, 0, TimeSpan.Zero),
        };
        Add(bundle, composition);
        Add(bundle, new Patient { Id = "p", Active = true });
        Add(bundle, new Device { Id = "d" });
        Add(bundle, result);
        return bundle;
    }

    private static Observation Result(string patient) => new()
    {
        Status = ObservationStatus.Final,
        Code = new CodeableConcept { Text = "x" },
        Subject = new ResourceReference(patient),
    };

    private static void OtherPatient(Bundle document)
    {
        ((Observation)document.Entry[3].Resource!).Subject!.Reference = "Patient/q";
        Add(document, new Patient { Id = "q", Active = true });
    }

    private static void Add(Bundle bundle, Resource resource) => bundle.Entry.Add(new() { FullUrl = $"{Server}{resource.TypeName}/{resource.Id}", Resource = resource });

    private static List<Issue> Errors(Bundle bundle)
    {
        var read = ResourceReader.Read(Encoding.UTF8.GetBytes(Encoding.UTF8.GetString(ResourceWriter.Json(bundle))), FhirFormat.Json);
        return [.. SharedDefinitions.Validator.Validate(read).Where(i => i.Refuses)];
    }
}
