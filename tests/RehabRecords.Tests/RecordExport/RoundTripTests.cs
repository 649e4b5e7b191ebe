using System.Text;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.RecordExport;
using RehabRecords.Tests.Fhir.Store;

namespace RehabRecords.Tests.RecordExport;

/// <summary>What is exported is all there is of a person and nothing of anybody else, and an import makes the same record of it.</summary>
public sealed class RoundTripTests
{
    [Fact]
    public async Task A_record_exported_and_imported_into_an_empty_store_exports_alike()
    {
        await using var here = await ExportClinic.OpenAsync();
        await using var there = await ExportClinic.OpenAsync();
        var person = await SampleRecord.FillAsync(here);
        var zip = await ExportClinic.ExportAsync(here.Store, person);
        Assert.Empty((await ExportClinic.VerifyAsync(zip)).Problems);

        var (verdict, result) = await ExportClinic.ImportAsync(there.Store, zip);
        Assert.True(verdict.IsWhole);
        Assert.Equal(verdict.Manifest!.Versions, result!.Restored);
        Assert.Equal(ExportClinic.Content(zip), ExportClinic.Content(await ExportClinic.ExportAsync(there.Store, person)));

        var (_, again) = await ExportClinic.ImportAsync(there.Store, zip);
        Assert.Equal(new RestoreResult(0, verdict.Manifest.Versions), again);
    }

    [Fact]
    public async Task The_restored_record_is_found_read_and_written_like_the_first()
    {
        await using var here = await ExportClinic.OpenAsync();
        await using var there = await ExportClinic.OpenAsync();
        var person = await SampleRecord.FillAsync(here);
        await ExportClinic.ImportAsync(there.Store, await ExportClinic.ExportAsync(here.Store, person));

        foreach (var (type, query) in new[] { ("Observation", $"subject=Patient/{person}"), ("Patient", $"identifier={Samples.System}|p-1"), ("Provenance", $"target=Observation/{SampleRecord.Result}") })
            Assert.Equal((await here.Store.FindAsync(type, query)).Select(v => v.VersionedAddress), (await there.Store.FindAsync(type, query)).Select(v => v.VersionedAddress));
        Assert.NotEmpty(await there.Store.FindAsync("Observation", $"subject=Patient/{person}"));
        Assert.Equal((await here.Store.HistoryAsync("Observation", SampleRecord.Result)).Select(Told), (await there.Store.HistoryAsync("Observation", SampleRecord.Result)).Select(Told));
        var refused = await Assert.ThrowsAsync<RefusedException>(() => there.Store.CreateAsync(Samples.Person("p-1")));
        Assert.Equal(Refusal.Conflict, refused.Refusal);
        Assert.Equal(4, (await there.Store.UpdateAsync(SampleRecord.Value(person, 4), 3)).Version);

        static string Told(RecordVersion v) => $"{v.VersionedAddress} {v.Deleted} {v.LastUpdated:O} {Encoding.UTF8.GetString(v.Json.Span)}";
    }

    [Fact]
    public async Task All_versions_are_there_deletions_too_and_what_they_refer_to_and_nothing_of_anybody_else()
    {
        await using var here = await ExportClinic.OpenAsync();
        var person = await SampleRecord.FillAsync(here);
        var files = ExportClinic.Files(await ExportClinic.ExportAsync(here.Store, person));
        var text = files.ToDictionary(f => f.Key, f => Encoding.UTF8.GetString(f.Value));

        Assert.Equal(["Patient/" + person, "Practitioner/physio", "ActivityDefinition/pegs-2"],
            new[] { ("record/Patient.ndjson", 0), ("referred/Practitioner.ndjson", 0), ("referred/ActivityDefinition.ndjson", 0) }
                .Select(f => JsonNode.Parse(text[f.Item1].Split('\n')[f.Item2])!).Select(n => $"{n["resourceType"]}/{n["id"]}"));
        Assert.Equal(3, text["record/Observation.ndjson"].Split('\n').Count(l => l.Contains($"\"id\":\"{SampleRecord.Result}\"", StringComparison.Ordinal)));
        Assert.Equal(["Observation/mistake", "Observation/moved", "Observation/moved", "Provenance/withdrawn"],
            text["deletions.ndjson"].Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(l => (string)JsonNode.Parse(l)!["entry"]![0]!["request"]!["url"]!));
        // Its first version was about this person, so that belongs to the record; the others are somebody else's.
        Assert.Single(text["record/Observation.ndjson"].Split('\n'), l => l.Contains("\"id\":\"moved\"", StringComparison.Ordinal));
        Assert.Contains("organisation-of-physio", text["referred/Organization.ndjson"], StringComparison.Ordinal);
        Assert.DoesNotContain("pegs-1", string.Concat(text.Values), StringComparison.Ordinal);
        Assert.DoesNotContain("Somebodyelse", string.Concat(text.Values), StringComparison.Ordinal);
        Assert.DoesNotContain("Patient/other", string.Concat(text.Values), StringComparison.Ordinal);
        var manifest = RecordManifest.Read(files[RecordZip.Manifest]);
        Assert.Empty(manifest.Outside);
        Assert.Equal(["Observation/moved/_history/2", "Observation/moved/_history/3"], manifest.Remarks.Select(r => r.Split(' ')[0]));
        Assert.Equal(files.Keys.Where(k => !k.StartsWith("manifest", StringComparison.Ordinal)), manifest.Files.Select(f => f.Path));
    }

    [Fact]
    public async Task A_line_is_the_very_bytes_that_are_stored()
    {
        await using var here = await ExportClinic.OpenAsync();
        var person = await SampleRecord.FillAsync(here);
        var lines = Encoding.UTF8.GetString(ExportClinic.Files(await ExportClinic.ExportAsync(here.Store, person))["record/Observation.ndjson"]).Split('\n');
        Assert.Contains(Encoding.UTF8.GetString((await here.Store.ReadVersionAsync("Observation", SampleRecord.Result, 2))!.Json.Span), lines);
    }

    [Fact]
    public async Task A_document_is_written_as_the_document_builder_makes_it_and_as_a_page()
    {
        await using var here = await ExportClinic.OpenAsync();
        var person = await SampleRecord.FillAsync(here);
        var settings = new Host.Settings();
        var files = ExportClinic.Files(await ExportClinic.ExportAsync(here.Store, person, settings));
        var built = await new DocumentBuilder(here.Store, new Uri(settings.PublicUrl)).BuildAsync("note");
        Assert.Equal(Encoding.UTF8.GetString(ResourceWriter.Json(built)), Encoding.UTF8.GetString(files["documents/Composition-note-version-1.json"]));
        var page = Encoding.UTF8.GetString(files["documents/Composition-note-version-1.html"]);
        Assert.Contains("DRAFT", page, StringComparison.Ordinal);
        Assert.Contains("Grip got better.", page, StringComparison.Ordinal);
        Assert.DoesNotContain("<script", page, StringComparison.Ordinal);

        var frozen = Encoding.UTF8.GetString(files["documents/Bundle-frozen-version-1.json"]);
        Assert.Equal(Encoding.UTF8.GetString((await here.Store.ReadAsync("Bundle", "frozen"))!.Json.Span), frozen);
        Assert.Contains("All of it.", Encoding.UTF8.GetString(files["documents/Bundle-frozen-version-1.html"]), StringComparison.Ordinal);
        // Frozen already: not assembled once more.
        Assert.DoesNotContain(files.Keys, k => k.StartsWith("documents/Composition-signed", StringComparison.Ordinal));
    }

    [Fact]
    public async Task An_import_refuses_other_content_under_the_same_id_and_leaves_the_store_as_it_was()
    {
        await using var here = await ExportClinic.OpenAsync();
        await using var there = await ExportClinic.OpenAsync();
        var person = await SampleRecord.FillAsync(here);
        var practitioner = new Practitioner { Id = "physio", Name = [new HumanName { Family = "Another" }] };
        await there.Store.CreateAsync(practitioner);
        var refused = await Assert.ThrowsAsync<RefusedException>(async () => await ExportClinic.ImportAsync(there.Store, await ExportClinic.ExportAsync(here.Store, person)));
        Assert.Equal(Refusal.Conflict, refused.Refusal);
        Assert.Contains("Practitioner/physio/_history/1", refused.Message, StringComparison.Ordinal);
        Assert.Null(await there.Store.ReadAsync("Patient", person));
    }

    [Fact]
    public async Task A_later_export_brings_an_earlier_import_up_to_date()
    {
        await using var here = await ExportClinic.OpenAsync();
        await using var there = await ExportClinic.OpenAsync();
        var person = await SampleRecord.FillAsync(here);
        await ExportClinic.ImportAsync(there.Store, await ExportClinic.ExportAsync(here.Store, person));
        await here.Store.UpdateAsync(SampleRecord.Value(person, 4), 3);
        await here.Store.CreateAsync(Samples.Result(person, 9));
        var later = await ExportClinic.ExportAsync(here.Store, person);
        var (_, result) = await ExportClinic.ImportAsync(there.Store, later);
        Assert.Equal(2, result!.Restored);
        Assert.Equal(ExportClinic.Content(later), ExportClinic.Content(await ExportClinic.ExportAsync(there.Store, person)));
    }

    [Fact]
    public async Task An_identifier_that_somebody_else_holds_refuses_the_whole()
    {
        await using var here = await ExportClinic.OpenAsync();
        await using var there = await ExportClinic.OpenAsync();
        var person = await SampleRecord.FillAsync(here);
        await there.Store.CreateAsync(Samples.Person("p-1", "Holder"));
        var refused = await Assert.ThrowsAsync<RefusedException>(async () => await ExportClinic.ImportAsync(there.Store, await ExportClinic.ExportAsync(here.Store, person)));
        Assert.Contains("p-1", refused.Message, StringComparison.Ordinal);
        Assert.Null(await there.Store.ReadAsync("Patient", person));
    }
}
