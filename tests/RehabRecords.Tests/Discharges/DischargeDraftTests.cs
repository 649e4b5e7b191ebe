using System.Text;
using CsCheck;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Discharges;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Tests.Progress;

namespace RehabRecords.Tests.Discharges;

public class DischargeDraftTests
{
    private static readonly DateOnly On = new(2026, 3, 20);

    private static DischargeForm Form()
    {
        var stated = new DischargeRequest
        {
            Person = FhirProgramme.Person().Id,
            Reason = "The block is finished.",
            Destination = "Home.",
            Legal = "Has capacity.",
            Actions = [new ActionRequest { Text = "Check the splint <soon>.", Owner = "Orthotics", Due = new DateOnly(2026, 4, 1) }],
            Distribution = [new RecipientRequest { Name = "Dr Imagined", Role = "GP" }],
            Equipment = ["soft putty"],
            Overrides = [new OverrideRequest { Blocker = "Task/t", Reason = "Settled by telephone." }],
        };
        var form = DischargeForm.Write(stated, On, stated.Person!, "episode/1", new ResourceReference { Display = "Rowan Invented, physiotherapist" }, DateTimeOffset.UnixEpoch);
        form.Id = "form";
        return DischargeForm.Read(ResourceReader.Trusted<QuestionnaireResponse>(ResourceWriter.Json(form)));
    }

    private static DischargeRecord Record(IEnumerable<Resource> resources)
    {
        var episode = new Episode(new EpisodeOfCare { Id = "episode" }, 1, new DateOnly(2026, 3, 2), [FhirProgramme.Id]);
        return DischargeRecord.Of(episode, Form(), [ProgrammeMapping.Map(FhirProgramme.Id, [.. resources])], MeasureCatalogue.Default, ClinicRules.Default);
    }

    private static Composition Drafted(IEnumerable<Resource> resources)
    {
        var summary = DischargeDraft.Compose(Record(resources), "episode/1");
        summary.Id = "summary";
        return summary;
    }

    [Fact]
    public void The_same_record_and_the_same_form_give_the_same_bytes_in_whatever_order_things_arrived()
    {
        var expected = ResourceWriter.Json(Drafted(FhirProgramme.Everything()));
        Gen.Shuffle(FhirProgramme.Everything().ToArray()).Sample(order => ResourceWriter.Json(Drafted(order)).AsSpan().SequenceEqual(expected), iter: 50);
    }

    [Fact]
    public void A_summary_passes_its_profile_with_and_without_results()
    {
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(Drafted(FhirProgramme.Everything())), i => i.Refuses);
        Resource[] plan = [FhirProgramme.Person(), FhirProgramme.Plan(), FhirProgramme.Prescription("pegs", "clothes-pegs", "Clothes pegs")];
        Assert.DoesNotContain(TestApp.SharedValidator.Validate(Drafted(plan)), i => i.Refuses);
    }

    [Fact]
    public void What_is_written_is_read_back_as_the_same_statements_under_the_same_headings()
    {
        var statements = DischargeDraft.Statements(Record(FhirProgramme.Everything()));
        var back = NoteComposition.Read(ResourceReader.Trusted<Composition>(ResourceWriter.Json(Drafted(FhirProgramme.Everything()))));
        Assert.Equal(statements.Select(s => (s.Id, s.Rule, s.Section, s.Text)), back.Select(s => (s.Id, s.Rule, s.Section, s.Text)));
        Assert.Equal(statements.Select(s => s.Id), statements.Select(s => s.Id).Distinct());
    }

    [Fact]
    public void The_form_keeps_every_word_that_was_stated()
    {
        var form = Form();
        Assert.Equal(("The block is finished.", "Home.", "Has capacity."), (form.Stated.Reason, form.Stated.Destination, form.Stated.Legal));
        Assert.Equal(new ActionRequest { Text = "Check the splint <soon>.", Owner = "Orthotics", Due = new DateOnly(2026, 4, 1) }, Assert.Single(form.Stated.Actions!));
        Assert.Equal(new OverrideRequest { Blocker = "Task/t", Reason = "Settled by telephone." }, Assert.Single(form.Stated.Overrides!));
        Assert.Equal((On, "Rowan Invented, physiotherapist", "QuestionnaireResponse/form/_history/1"), (form.On, form.AuthorWords, form.Evidence));
    }

    /// <summary>UPDATE_GOLDEN=1 writes the file instead of comparing it; read the difference before committing it.</summary>
    [Fact]
    public void The_whole_summary_reads_as_the_one_kept()
    {
        var file = Path.Combine(Repository.Root, "tests", "RehabRecords.Tests", "Discharges", "two-weeks.txt");
        var summary = Drafted(FhirProgramme.Everything());
        var text = NoteText.Of(summary, NoteKind.DischargeSummary);
        if (Environment.GetEnvironmentVariable("UPDATE_GOLDEN") == "1")
            File.WriteAllText(file, text, new UTF8Encoding(false));
        Assert.Equal(File.ReadAllText(file), text);
    }
}
