using RehabRecords.Clinical;
using RehabRecords.Progress;

namespace RehabRecords.Tests.Progress;

public class ProgrammeMappingTests
{
    private static readonly ProgrammeRecord Record = ProgrammeMapping.Map(FhirProgramme.Id, FhirProgramme.Everything());

    [Fact]
    public void The_person_and_programme_are_read_with_their_versions()
    {
        Assert.Equal(new PersonRecord("tilda", "Patient/tilda/_history/1", "Tilda Fabulate",
            new PersonContext(Side.Right, Side.Right, new DateOnly(2025, 12, 1), new DateOnly(1958, 4, 4), Sex.Female)), Record.Person);
        Assert.Equal(new ProgrammeOutline("spring", "CarePlan/spring/_history/1", "Table-top practice", new DateOnly(2026, 3, 2), new DateOnly(2026, 5, 31),
            "Europe/London", 5, 2, "The therapist's choice."), Record.Programme);
    }

    [Fact]
    public void Prescriptions_keep_the_order_of_the_programme_with_dose_side_and_schedule()
    {
        Assert.Equal(["pegs", "cards"], Record.Prescriptions.Select(p => p.Planned.Id));
        var pegs = Record.Prescriptions[0];
        Assert.Equal((Side.Right, "Clothes pegs", new Dosage(2, 10)), (pegs.Side!.Value, pegs.Planned.Title, pegs.Planned.Dosage));
        Assert.Equal([DayOfWeek.Monday, DayOfWeek.Wednesday, DayOfWeek.Friday], pegs.Planned.Schedule.Days);
        Assert.Equal(new DateOnly(2026, 5, 31), pegs.Planned.Schedule.End);
    }

    [Fact]
    public void Sessions_stand_in_the_order_of_doing_with_who_reports()
    {
        Assert.Equal(["s1", "s2", "s3", "s4", "s5"], Record.Sessions.Select(s => s.Id));
        var missed = Record.Sessions[2];
        Assert.Equal((false, NotDoneReason.Fatigue, new DateOnly(2026, 3, 6)), (missed.Report.Done, missed.Report.Reason!.Value, missed.Report.Day));
        Assert.Equal(new Reporter("carer", "Otto Fabulate"), missed.Reporter);
        var result = Record.Sessions[0].Report.Exercises[0];
        Assert.Equal((16, 2, Quality.Met, Side.Right), (result.Repetitions!.Value, result.PainDuring!.Value, result.Quality!.Value, result.Side!.Value));
        Assert.Null(result.Minutes);
        Assert.Equal(NotDoneReason.NoTime, Record.Sessions[4].Report.Exercises.Single(e => e.Planned == "cards").Skipped);
    }

    [Fact]
    public void Of_earlier_measures_only_the_latest_before_the_start_is_the_baseline()
    {
        var earlier = ProgrammeMapping.Map(FhirProgramme.Id, [.. FhirProgramme.Everything(), FhirProgramme.PegTime("peg-0", -200, 90m), FhirProgramme.PegTime("peg-9", 120, 30m)]);
        Assert.Equal(["Observation/peg-1/_history/1", "Observation/peg-2/_history/1"], earlier.Measures.Select(m => m.Evidence));
    }

    [Fact]
    public void The_day_a_note_is_as_of_is_that_of_the_latest_result() => Assert.Equal(new DateOnly(2026, 3, 13), Record.AsOf);

    [Fact]
    public void A_late_evening_session_belongs_to_the_day_of_the_programmes_zone()
    {
        // 23:30 in London in summer time is 22:30 UTC of the same day; 00:30 there is still the day before in UTC.
        var late = FhirProgramme.Session("late", 30, null, 10, 0).ToList();
        ((Hl7.Fhir.Model.Procedure)late[0]).Performed = new Hl7.Fhir.Model.FhirDateTime("2026-04-01T23:30:00Z");
        var record = ProgrammeMapping.Map(FhirProgramme.Id, [.. FhirProgramme.Everything(), .. late]);
        Assert.Equal(new DateOnly(2026, 4, 2), record.Sessions[^1].Report.Day);
    }

    [Fact]
    public void Done_with_nothing_recorded_is_not_skipped()
    {
        var everything = FhirProgramme.Everything();
        var result = everything.OfType<Hl7.Fhir.Model.Observation>().First(o => o.Id == "s1-pegs");
        result.Component = [];
        result.DataAbsentReason = RehabRecords.Terms.Concepts.Concept(RehabRecords.Terms.Systems.DataAbsentReason, "unknown");
        var report = ProgrammeMapping.Map(FhirProgramme.Id, everything).Sessions[0].Report.Exercises[0];
        Assert.True(report.Done);
        Assert.Null(report.Repetitions);
    }

    [Fact]
    public void Resources_not_yet_stored_join_as_version_one_and_replace_older_ones()
    {
        var before = ProgrammeMapping.Map(FhirProgramme.Id, [.. FhirProgramme.Everything().Where(r => !r.Id!.StartsWith("s5", StringComparison.Ordinal))]);
        var after = before.With(FhirProgramme.Everything().Where(r => r.Id!.StartsWith("s5", StringComparison.Ordinal)));
        Assert.Equal(Record.Sessions.Select(s => s.Report.Evidence), after.Sessions.Select(s => s.Report.Evidence));
        Assert.Equal(Record.EvidenceAt, after.EvidenceAt);
    }
}
