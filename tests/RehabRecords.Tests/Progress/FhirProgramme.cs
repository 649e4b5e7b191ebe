using Hl7.Fhir.Model;
using RehabRecords.Terms;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Tests.Progress;

/// <summary>A small programme as the resources the service keeps. The person is invented.</summary>
internal static class FhirProgramme
{
    public const string Id = "spring";
    public static readonly DateOnly Start = new(2026, 3, 2); // a Monday

    /// <summary>Person, carer, goal, programme, two prescriptions, five reports (one missed, one with a skipped exercise), measures and harm.</summary>
    public static List<Resource> Everything() =>
    [
        Person(), Carer(), Goal(), Plan(), Prescription("pegs", "clothes-pegs", "Clothes pegs"), Prescription("cards", "card-turning", "Card turning"),
        .. Session("s1", 0, "Pegs kept pinging off; ache <3.", 16, 2),
        .. Session("s2", 2, null, 18, 3),
        Missed("s3", 4, "fatigue", "She had a bad night."),
        .. Session("s4", 7, null, 20, 2),
        .. Session("s5", 9, "Easier & quicker today: \"wow\".", 20, 1),
        Skipped("s5", "cards", "no-time"),
        Harm("s2"),
        PegTime("peg-1", -3, 62m), PegTime("peg-2", 11, 47m),
        GasLevel("gas-1", 0, -1), GasLevel("gas-2", 11, 0),
    ];

    public static Patient Person() => new()
    {
        Id = "tilda",
        Name = [new HumanName { Family = "Fabulate", Given = ["Tilda"] }],
        BirthDate = "1958-04-04",
        Gender = AdministrativeGender.Female,
        Extension =
        [
            new Extension
            {
                Url = Extensions.RehabilitationContext,
                Extension = [new Extension("dominantHand", new Code("right")), new Extension("affectedSide", new Code("right")), new Extension("onset", new Date("2025-12-01"))],
            },
        ],
    };

    public static RelatedPerson Carer() => new() { Id = "otto", Patient = new ResourceReference("Patient/tilda"), Name = [new HumanName { Text = "Otto Fabulate" }] };

    public static CarePlan Plan()
    {
        var plan = new CarePlan
        {
            Id = Id,
            Status = RequestStatus.Active,
            Intent = CarePlan.CarePlanIntent.Plan,
            Title = "Table-top practice",
            Subject = new ResourceReference("Patient/tilda"),
            Period = new Period { Start = "2026-03-02", End = "2026-05-31" },
            Goal = [new ResourceReference("Goal/wash")],
            Activity = [new CarePlan.ActivityComponent { Reference = new ResourceReference("ServiceRequest/pegs") }, new CarePlan.ActivityComponent { Reference = new ResourceReference("ServiceRequest/cards") }],
            Extension =
            [
                new Extension(Extensions.Level, new PositiveInt(2)), new Extension(Extensions.LevelReason, new FhirString("The therapist's choice.")),
                new Extension(Extensions.TimeZone, new Code("Europe/London")), new Extension(Extensions.PainLimit, new Integer(5)),
            ],
        };
        plan.Profiled(Profiles.Programme);
        return plan;
    }

    public static ServiceRequest Prescription(string id, string code, string title)
    {
        var request = new ServiceRequest
        {
            Id = id,
            Status = RequestStatus.Active,
            Intent = RequestIntent.Order,
            InstantiatesCanonical = [Canonical.Pinned(Canonical.Exercise(code), "1")],
            BasedOn = [new ResourceReference($"CarePlan/{Id}")],
            Code = Concepts.Concept(Systems.Exercise, code, title),
            Subject = new ResourceReference("Patient/tilda"),
            Occurrence = new Timing
            {
                Repeat = new Timing.RepeatComponent
                {
                    Bounds = new Period { Start = "2026-03-02", End = "2026-05-31" },
                    Frequency = 1,
                    Period = 1,
                    PeriodUnit = Timing.UnitsOfTime.D,
                    DayOfWeek = [DaysOfWeek.Mon, DaysOfWeek.Wed, DaysOfWeek.Fri],
                },
            },
            BodySite = [Sides.BodySite(Sides.Right)],
            PatientInstruction = $"{title}: two sets of ten, right hand.",
            Extension =
            [
                new Extension
                {
                    Url = Extensions.ExerciseDosage,
                    Extension = [new Extension(Extensions.Dosage.Sets, new PositiveInt(2)), new Extension(Extensions.Dosage.Repetitions, new PositiveInt(10))],
                },
            ],
        };
        request.Profiled(Profiles.PrescribedExercise);
        return request;
    }

    public static IEnumerable<Resource> Session(string id, int day, string? remark, int repetitions, int pain)
    {
        yield return Procedure(id, EventStatus.Completed, new FhirDateTime(At(day, 10)), new ResourceReference("Patient/tilda") { Type = "Patient" }, remark, day);
        var result = Result(id, "pegs", "clothes-pegs", "Clothes pegs", day);
        result.Component =
        [
            Component(SessionItem.RepetitionsDone, new Integer(repetitions)),
            Component(SessionItem.PainDuring, new Integer(pain), Loinc.PainSeverity),
            Component(SessionItem.Quality, CodeLists.Quality.Concept("met")),
        ];
        yield return result;
    }

    public static Procedure Missed(string id, int day, string reason, string? remark)
    {
        var procedure = Procedure(id, EventStatus.NotDone, new FhirDateTime(Start.AddDays(day).ToString("yyyy-MM-dd")),
            new ResourceReference("RelatedPerson/otto", "Otto Fabulate") { Type = "RelatedPerson" }, remark, day);
        procedure.StatusReason = CodeLists.NotDoneReason.Concept(reason);
        return procedure;
    }

    public static Observation Skipped(string session, string prescription, string reason)
    {
        var result = Result(session, prescription, "card-turning", "Card turning", 9);
        result.Id = $"{session}-{prescription}";
        result.DataAbsentReason = Concepts.Concept(Systems.DataAbsentReason, "not-performed").And(Systems.NotDoneReason, reason);
        return result;
    }

    public static Observation PegTime(string id, int day, decimal seconds)
    {
        var result = Measure(id, day, "nine-hole-peg", "exam");
        result.BodySite = Sides.BodySite(Sides.Right);
        result.Value = Concepts.Ucum(seconds, "s");
        return result;
    }

    public static Observation GasLevel(string id, int day, int level)
    {
        var result = Measure(id, day, MeasureCode.GasLevel, "survey");
        result.Focus = [new ResourceReference("Goal/wash")];
        result.Value = new Integer(level);
        return result;
    }

    public static Flag ChestPain() => new()
    {
        Id = "flag",
        Status = Flag.FlagStatus.Active,
        Category = [Concepts.Concept(Systems.FlagCategory, FlagCategory.RedFlag)],
        Code = CodeLists.RedFlag.Concept("chest-pain"),
        Subject = new ResourceReference("Patient/tilda"),
        Period = new Period { Start = "2026-03-11T10:00:00+00:00" },
        Extension = [new Extension(Extensions.FlagSource, new ResourceReference("Procedure/s5"))],
    };

    private static Goal Goal()
    {
        var goal = new Goal
        {
            Id = "wash",
            LifecycleStatus = Hl7.Fhir.Model.Goal.GoalLifecycleStatus.Active,
            Description = new CodeableConcept { Text = "Hang out a small wash." },
            Subject = new ResourceReference("Patient/tilda"),
            Target = [new Goal.TargetComponent { Measure = Concepts.Concept(Systems.Measure, MeasureCode.GasLevel), Detail = new Integer(0), Due = new Date("2026-05-29") }],
        };
        goal.Profiled(Profiles.Goal);
        foreach (var level in Enumerable.Range(-2, 5))
            goal.Extension.Add(new Extension
            {
                Url = Extensions.AttainmentLevel,
                Extension = [new Extension("level", new Integer(level)), new Extension("description", new FhirString($"Level {level} in words."))],
            });
        return goal;
    }

    private static AdverseEvent Harm(string session) => new()
    {
        Id = "harm",
        Actuality = AdverseEvent.AdverseEventActuality.Actual,
        Event = Concepts.Concept(Systems.AdverseEventKind, "skin-injury", "A red mark on the thumb."),
        Subject = new ResourceReference("Patient/tilda"),
        Date = "2026-03-04",
        Severity = Concepts.Concept(Systems.AdverseEventSeverity, "mild"),
        SuspectEntity = [new AdverseEvent.SuspectEntityComponent { Instance = new ResourceReference($"Procedure/{session}") }],
    };

    private static Procedure Procedure(string id, EventStatus status, DataType performed, ResourceReference reporter, string? remark, int day)
    {
        var procedure = new Procedure
        {
            Id = id,
            BasedOn = [new ResourceReference($"CarePlan/{Id}")],
            Status = status,
            Code = Concepts.Concept(Systems.SessionItem, SessionItem.HomeSession),
            Subject = new ResourceReference("Patient/tilda"),
            Performed = performed,
            Asserter = (ResourceReference)reporter.DeepCopy(),
            Note = remark is null ? [] : [new Annotation { Author = (ResourceReference)reporter.DeepCopy(), Text = remark }],
        };
        procedure.Profiled(Profiles.Session);
        procedure.Extension.Add(new Extension(Extensions.RecordedAt, new Instant(At(day, 20))));
        return procedure;
    }

    private static Observation Result(string session, string prescription, string code, string title, int day)
    {
        var result = new Observation
        {
            Id = $"{session}-{prescription}",
            Status = ObservationStatus.Final,
            BasedOn = [new ResourceReference($"ServiceRequest/{prescription}")],
            PartOf = [new ResourceReference($"Procedure/{session}")],
            Category = [Concepts.Concept(Systems.ObservationCategory, "therapy"), Concepts.Concept(Systems.ObservationCategory, "activity")],
            Code = Concepts.Concept(Systems.Exercise, code, title),
            Subject = new ResourceReference("Patient/tilda"),
            Effective = new FhirDateTime(At(day, 10)),
            Performer = [new ResourceReference("Patient/tilda")],
            BodySite = Sides.BodySite(Sides.Right),
        };
        result.Profiled(Profiles.ExerciseResult);
        return result;
    }

    private static Observation Measure(string id, int day, string code, string category)
    {
        var result = new Observation
        {
            Id = id,
            Status = ObservationStatus.Final,
            Category = [Concepts.Concept(Systems.ObservationCategory, category)],
            Code = Concepts.Concept(Systems.Measure, code),
            Subject = new ResourceReference("Patient/tilda"),
            Effective = new FhirDateTime(At(day, 11)),
            IssuedElement = new Instant(At(day, 12)),
        };
        result.Profiled(Profiles.MeasureResult);
        return result;
    }

    private static Observation.ComponentComponent Component(string item, DataType value, string? loinc = null)
    {
        var code = Concepts.Concept(Systems.SessionItem, item);
        return new Observation.ComponentComponent { Code = loinc is null ? code : code.And(Systems.Loinc, loinc), Value = value };
    }

    private static DateTimeOffset At(int day, int hour) => new(Start.AddDays(day), new TimeOnly(hour, 0), TimeSpan.Zero);
}
