using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;

namespace RehabRecords.Programmes;

/// <summary>
/// One exercise as it is prescribed to one person: what the request says, over the template's level, over the
/// library's exercise.
/// </summary>
internal sealed record Prescribed(
    ActivityDefinition Exercise, ExerciseSetUp SetUp, string Side, ScheduleRequest Schedule, string? Instruction, IReadOnlyList<AppliedCaution> Applied)
{
    /// <param name="levelDosage">What the template's level says of this exercise, if it does.</param>
    public static Prescribed Of(ActivityDefinition exercise, DosageRequest? levelDosage, PrescriptionRequest request, IReadOnlyList<PersonPrecaution> precautions)
    {
        var usual = ExerciseParts.SetUpOf(exercise) ?? new ExerciseSetUp(new DosageRequest(), null, null, null, null);
        var dosage = (request.Dosage ?? new DosageRequest()).Over((levelDosage ?? new DosageRequest()).Over(usual.Dosage));
        var setUp = new ExerciseSetUp(dosage, request.Position ?? usual.Position, request.HandOrder ?? usual.HandOrder, request.HelpLevel ?? usual.HelpLevel, usual.SuccessCriterion);
        return new Prescribed(exercise, setUp, request.Side!, Timings.Whole(request.Schedule), request.Instruction, []).For(precautions);
    }

    /// <summary>With the cautions that apply to the person as things are now, in the position that is prescribed.</summary>
    public Prescribed For(IReadOnlyList<PersonPrecaution> precautions) => this with
    {
        Applied = AppliedCaution.For(PrecautionMapping.Tags(ExerciseParts.CautionsOf(Exercise).Select(c => c.Code), SetUp.Position), precautions),
    };

    /// <summary>What a stored prescription asks for, to be changed in part.</summary>
    public static Prescribed From(ServiceRequest request, ActivityDefinition exercise) => new(
        exercise,
        ExerciseParts.SetUpOf(request) ?? new ExerciseSetUp(new DosageRequest(), null, null, null, null),
        Sides.Of(request.BodySite.FirstOrDefault()) ?? Sides.Both,
        Timings.Whole(Timings.From(request.Occurrence as Timing)),
        request.Note.FirstOrDefault()?.Text,
        []);

    /// <summary>Steps that are still to be had; one that the person's instruction holds already has been taken.</summary>
    private IReadOnlyList<GradingStep> Steps =>
        [.. ExerciseParts.GradingOf(Exercise).Where(step => Instruction?.Contains(PlainWords.Sentence(step.Text!), StringComparison.Ordinal) != true)];

    public ServiceRequest ToServiceRequest(CarePlan programme, DateOnly start, DateOnly? end, DateTimeOffset now)
    {
        var equipment = ExerciseParts.EquipmentOf(Exercise);
        var grading = Steps;
        var cautions = ExerciseParts.CautionsOf(Exercise);
        var instruction = Words(Timings.Words(Schedule, start, end), equipment, grading, cautions);
        var request = new ServiceRequest
        {
            Status = programme.Status == RequestStatus.Draft ? RequestStatus.Draft : RequestStatus.Active,
            Intent = RequestIntent.Order,
            InstantiatesCanonical = [Canonical.Pinned(Exercise.Url!, Exercise.Version!)],
            BasedOn = [new ResourceReference($"CarePlan/{programme.Id}")],
            Code = Concepts.Concept(Systems.Exercise, Exercise.Code.CodeIn(Systems.Exercise)!, Exercise.Title),
            Subject = new ResourceReference(programme.Subject.Reference),
            Occurrence = Schedule.ToTiming(start, end),
            AuthoredOnElement = new FhirDateTime(now),
            Requester = programme.Author is { } author ? (ResourceReference)author.DeepCopy() : null,
            Performer = [new ResourceReference(programme.Subject.Reference)],
            BodySite = [Sides.BodySite(Side)],
            PatientInstruction = string.Join('\n', instruction),
            Note = Instruction is { } own ? [new Annotation { Text = own }] : [],
            Text = Readable.Of([.. instruction, .. Applied.Select(c => c.Provenance)]),
        };
        request.Profiled(Profiles.PrescribedExercise);
        AddParts(request, equipment, grading, cautions);
        return request;
    }

    /// <summary>
    /// What a definition comes to for one person, as a proposal that nobody has ordered: without dates, and without what
    /// is not recorded of the person (an empty side).
    /// </summary>
    public ServiceRequest ToProposal(ResourceReference person, ResourceReference? requester, DateTimeOffset now)
    {
        var (equipment, grading, cautions) = (ExerciseParts.EquipmentOf(Exercise), Steps, ExerciseParts.CautionsOf(Exercise));
        var instruction = Words("", equipment, grading, cautions);
        var request = new ServiceRequest
        {
            Status = RequestStatus.Draft,
            Intent = RequestIntent.Proposal,
            InstantiatesCanonical = Exercise.Url is null ? [] : [Exercise.Version is null ? Exercise.Url : Canonical.Pinned(Exercise.Url, Exercise.Version)],
            Code = (CodeableConcept?)Exercise.Code?.DeepCopy(),
            Priority = Exercise.Priority,
            DoNotPerform = Exercise.DoNotPerform,
            Subject = person,
            Occurrence = Exercise.Timing is Timing or Period or FhirDateTime ? (DataType)Exercise.Timing.DeepCopy() : null,
            AuthoredOnElement = new FhirDateTime(now),
            Requester = requester,
            BodySite = Side.Length > 0 ? [Sides.BodySite(Side)] : [.. Exercise.BodySite.Select(b => (CodeableConcept)b.DeepCopy())],
            PatientInstruction = string.Join('\n', instruction),
            Text = Readable.Of([.. instruction, .. Applied.Select(c => c.Provenance)]),
        };
        AddParts(request, equipment, grading, cautions);
        return request;
    }

    private void AddParts(ServiceRequest request, IReadOnlyList<EquipmentItem> equipment, IReadOnlyList<GradingStep> grading, IReadOnlyList<CautionItem> cautions)
    {
        request.Extension.Add(SetUp.ToExtension());
        request.Extension.AddRange(equipment.Select(e => e.ToExtension()));
        request.Extension.AddRange(grading.Select(g => g.ToExtension()));
        request.Extension.AddRange(cautions.Select(c => c.ToExtension()));
        request.Extension.AddRange(Applied.Select(c => c.ToExtension()));
    }

    /// <summary>Says in plain words everything the extensions, the timing and the side say.</summary>
    private List<string> Words(
        string when, IReadOnlyList<EquipmentItem> equipment, IReadOnlyList<GradingStep> grading, IReadOnlyList<CautionItem> cautions)
    {
        var side = Side switch
        {
            Sides.Left => "Side: left arm and hand.",
            Sides.Right => "Side: right arm and hand.",
            "" => "",
            _ => "Side: both arms and hands.",
        };
        return
        [
            .. new[]
            {
                PlainWords.Sentence(Exercise.Title ?? Exercise.Code?.Text ?? ""),
                Instruction is { } own ? PlainWords.Sentence(own) : "",
                PlainWords.Sentence(Exercise.Description ?? ""),
                when,
                PlainWords.Dosage(SetUp.Dosage),
                side,
                string.Join(' ', PlainWords.SetUp(SetUp)),
                PlainWords.Equipment(equipment),
                PlainWords.Success(SetUp),
            }.Concat(PlainWords.Cautions(cautions)).Concat(AppliedCaution.Instructions(Applied)).Concat(PlainWords.Grading(grading)).Where(line => line.Length > 0),
        ];
    }

    public static PrescriptionAnswer ToAnswer(ServiceRequest request)
    {
        var setUp = ExerciseParts.SetUpOf(request);
        return new PrescriptionAnswer
        {
            Id = request.Id!,
            Exercise = LibraryReads.AddressOf(request.InstantiatesCanonical.FirstOrDefault() ?? ""),
            Title = request.Code?.Text,
            Side = Sides.Of(request.BodySite.FirstOrDefault()),
            HandOrder = setUp?.HandOrder,
            Dosage = setUp?.Dosage,
            Position = setUp?.Position,
            HelpLevel = setUp?.HelpLevel,
            Schedule = Timings.From(request.Occurrence as Timing),
            From = Timings.Bounds(request)?.Start,
            Until = Timings.Bounds(request)?.End,
            Replaces = request.Replaces.Select(r => r.Reference).FirstOrDefault(),
            Instruction = request.Note.FirstOrDefault()?.Text,
            Cautions = AppliedCaution.AnswersOf(request),
            PatientInstruction = request.PatientInstruction,
        };
    }
}

public sealed record PrescriptionAnswer
{
    /// <summary>Id of the ServiceRequest; sessions name the exercise by it or by its code.</summary>
    public required string Id { get; init; }

    public string? Exercise { get; init; }

    public string? Title { get; init; }

    public string? Side { get; init; }

    public string? HandOrder { get; init; }

    public DosageRequest? Dosage { get; init; }

    public string? Position { get; init; }

    public string? HelpLevel { get; init; }

    public ScheduleRequest? Schedule { get; init; }

    /// <summary>First day.</summary>
    public string? From { get; init; }

    /// <summary>Last day, included; null while it is open.</summary>
    public string? Until { get; init; }

    /// <summary>The prescription in whose place it stands.</summary>
    public string? Replaces { get; init; }

    public string? Instruction { get; init; }

    /// <summary>The exercise's own cautions, then those of the catalogue that apply to the person.</summary>
    public IReadOnlyList<CautionAnswer> Cautions { get; init; } = [];

    public string? PatientInstruction { get; init; }
}
