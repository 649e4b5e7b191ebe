using System.Text;
using CsCheck;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Tests.Progress;

namespace RehabRecords.Tests.Notes;

public class NoteDraftTests
{
    private static readonly Lazy<ResourceValidator> Validator = new(() => ResourceValidator.Create(DefinitionsPack.Open()));

    private static Composition Drafted(IEnumerable<Resource> resources)
    {
        var record = ProgrammeMapping.Map(FhirProgramme.Id, [.. resources]);
        return NoteDraft.Compose(record, Findings.Of(record, MeasureCatalogue.Default, ClinicRules.Default), null);
    }

    [Fact]
    public void The_order_in_which_results_arrive_never_matters()
    {
        var expected = ResourceWriter.Json(Drafted(FhirProgramme.Everything()));
        Gen.Shuffle(FhirProgramme.Everything().ToArray()).Sample(order => ResourceWriter.Json(Drafted(order)).AsSpan().SequenceEqual(expected), iter: 200);
    }

    [Fact]
    public void Drafted_with_a_new_session_it_is_the_same_as_computed_again_afterwards()
    {
        var everything = FhirProgramme.Everything();
        bool IsNew(Resource r) => r.Id!.StartsWith("s5", StringComparison.Ordinal);
        var record = ProgrammeMapping.Map(FhirProgramme.Id, [.. everything.Where(r => !IsNew(r))]).With(everything.Where(IsNew));
        var atOnce = NoteDraft.Compose(record, Findings.Of(record, MeasureCatalogue.Default, ClinicRules.Default), null);
        // Once stored, everything new carries a version and a time of its own.
        foreach (var resource in everything.Where(IsNew))
            (resource.Meta ??= new Meta()).VersionId = "1";
        Assert.Equal(ResourceWriter.Json(atOnce), ResourceWriter.Json(Drafted(everything)));
    }

    [Fact]
    public void A_draft_passes_the_profile_with_and_without_results()
    {
        Assert.DoesNotContain(Validator.Value.Validate(Identified(Drafted(FhirProgramme.Everything()))), i => i.Refuses);
        Assert.DoesNotContain(Validator.Value.Validate(Identified(Drafted([.. FhirProgramme.Everything(), FhirProgramme.ChestPain()]))), i => i.Refuses);
        Resource[] plan = [FhirProgramme.Person(), FhirProgramme.Plan(), FhirProgramme.Prescription("pegs", "clothes-pegs", "Clothes pegs")];
        var empty = Drafted(plan);
        Assert.Equal("unavailable", empty.Section[0].EmptyReason!.Coding[0].Code);
        Assert.DoesNotContain(Validator.Value.Validate(Identified(empty)), i => i.Refuses);

        static Composition Identified(Composition note)
        {
            note.Id = "note";
            return note;
        }
    }

    [Fact]
    public void What_is_written_can_be_read_back_as_the_same_statements()
    {
        var record = ProgrammeMapping.Map(FhirProgramme.Id, FhirProgramme.Everything());
        var statements = NoteDraft.Statements(record, Findings.Of(record, MeasureCatalogue.Default, ClinicRules.Default));
        var back = NoteComposition.Read(ResourceReader.Trusted<Composition>(ResourceWriter.Json(Drafted(FhirProgramme.Everything()))));
        Assert.Equal(statements.Select(s => (s.Id, s.Rule, s.Text)), back.Select(s => (s.Id, s.Rule, s.Text)));
        Assert.Equal(statements.SelectMany(s => s.Evidence), back.SelectMany(s => s.Evidence));
        Assert.Equal(statements.SelectMany(s => s.Values), back.SelectMany(s => s.Values));
    }

    [Fact]
    public void Whatever_a_sentence_holds_is_read_back_from_its_narrative_letter_by_letter()
    {
        foreach (var text in (string[])["a & b < c > d \"e\" 'f' &amp; <p>", " two  spaces, a line\nand another\tone ", "½ “ü” 手 \U0001F44B \u00A0 \uFFFE"])
            Assert.Equal(text, Back(NoteRules.Words.State("", text, new RehabRecords.Notes.Evidence("Procedure/a/_history/1"))).Text);

        static Statement Back(Statement statement)
        {
            var subject = new NoteSubject("Patient/p", "P", "c", "CarePlan/c/_history/1", "C", 1, new DateOnly(2026, 1, 1), new DateOnly(2026, 1, 2), DateTimeOffset.UnixEpoch);
            return Assert.Single(NoteComposition.Read(ResourceReader.Trusted<Composition>(ResourceWriter.Json(NoteComposition.Write(subject, [statement])))));
        }
    }

    [Fact]
    public void A_receiver_that_knows_only_R4_finds_each_sentence_with_its_rule_and_its_evidence()
    {
        var record = ProgrammeMapping.Map(FhirProgramme.Id, FhirProgramme.Everything());
        var statements = NoteDraft.Statements(record, Findings.Of(record, MeasureCatalogue.Default, ClinicRules.Default));
        var note = Drafted(FhirProgramme.Everything());
        var written = note.Section.SelectMany(s => s.Section).ToList();
        Assert.Equal(statements.Select(s => s.Id), written.Select(s => s.ElementId));
        Assert.Equal(statements.Select(s => (s.Rule.Id, s.Rule.Title)), written.Select(s => (s.Code!.Coding[0].Code!, s.Code.Coding[0].Display!)));
        Assert.All(statements.Zip(written), p => Assert.Equal(p.First.Evidence, p.Second.Entry.Select(e => e.Reference)));
        // And what search and the check before a deletion see: each part lists what its statements rest on, once.
        Assert.All(note.Section, s => Assert.Equal(
            s.Section.SelectMany(t => t.Entry).Select(e => e.Reference).Distinct().Order(StringComparer.Ordinal), s.Entry.Select(e => e.Reference)));
    }

    [Fact]
    public void What_a_person_typed_never_becomes_markup()
    {
        var everything = FhirProgramme.Everything();
        everything.OfType<Procedure>().First().Note[0].Text = "Pegs <script>alert(1)</script> off.";
        var note = Drafted(everything);
        // A FHIR string may hold no tag: the brackets are swapped, the words stay.
        Assert.Contains(note.Section[0].Section, s => s.Text!.Div!.Contains("‹script›alert(1)‹/script›", StringComparison.Ordinal));
        Assert.DoesNotContain(note.Section[0].Section, s => s.Text!.Div!.Contains("<script", StringComparison.Ordinal));
    }

    [Fact]
    public void Wherever_it_is_shown_a_draft_says_that_it_is_one()
    {
        var note = Drafted(FhirProgramme.Everything());
        note.Id = "note";
        Assert.All(note.Section, s => Assert.Contains("DRAFT", s.Text!.Div));
        Assert.Contains("DRAFT", note.Text!.Div);
        Assert.StartsWith("DRAFT", NoteText.Of(note, NoteKind.ProgressNote));
        Assert.Contains("Device/drafting-software", note.Author.Select(a => a.Reference));
        Assert.Equal(CompositionStatus.Preliminary, note.Status);
    }

    [Fact]
    public void With_a_red_flag_the_urgent_text_comes_before_everything_else()
    {
        var note = Drafted([.. FhirProgramme.Everything(), FhirProgramme.ChestPain()]);
        note.Id = "note";
        Assert.StartsWith("!! Emergency: chest pain", NoteText.Of(note, NoteKind.ProgressNote));
        Assert.StartsWith("<div xmlns=\"http://www.w3.org/1999/xhtml\"><p><b>Emergency: chest pain", note.Text!.Div);
        Assert.Single(NoteView.Of(note, NoteKind.ProgressNote).Urgent);
    }

    /// <summary>UPDATE_GOLDEN=1 writes the file instead of comparing it; read the difference before committing it.</summary>
    [Fact]
    public void The_whole_note_reads_as_the_one_kept()
    {
        var file = Path.Combine(Repository.Root, "tests", "RehabRecords.Tests", "Notes", "two-weeks.txt");
        var note = Drafted(FhirProgramme.Everything());
        note.Id = "note";
        var text = NoteText.Of(note, NoteKind.ProgressNote);
        if (Environment.GetEnvironmentVariable("UPDATE_GOLDEN") == "1")
            File.WriteAllText(file, text, new UTF8Encoding(false));
        Assert.Equal(File.ReadAllText(file), text);
    }
}
