using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.Library;
using RehabRecords.People;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Sheets;

/// <summary>Reads a programme as the person at home needs it.</summary>
internal sealed class SheetReads(RecordStore store, Settings settings)
{
    /// <summary>A picture larger than this is left out: the sheet must stay small enough to print and to open on a phone.</summary>
    private const int MostPictureBytes = 200_000;

    private static readonly string[] PictureTypes = ["image/png", "image/jpeg"];

    /// <exception cref="Fhir.RefusedException">There is no such programme.</exception>
    public async Task<SheetView> ReadAsync(string programmeId, string? size, string? paper, CancellationToken ct)
    {
        var (programme, _) = await store.RoutedAsync<CarePlan>(programmeId, "programme", ct);
        var person = Rules.Bare(programme.Subject.Reference!, "Patient");
        var patient = (await store.GetAsync<Patient>(person, ct))?.Resource;
        var requests = ProgrammeEndpoints.InOrderOfPlan(programme, await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{programmeId}", ct))
            .Where(r => r.Status is RequestStatus.Active or RequestStatus.Draft or RequestStatus.OnHold).ToList();
        var exercises = new List<SheetExercise>();
        foreach (var request in requests)
            exercises.Add(await ExerciseAsync(request, ct));
        var often = exercises.Select(e => e.Often).Distinct().ToList();
        var carer = await store.CarerOfAsync(person, ct);
        var view = new SheetView(
            PersonMapping.GivenNames(patient?.Name.FirstOrDefault()) is [var given, ..] ? given : "you", programme.Title ?? "Practice at home",
            Day(programme.Period?.Start) ?? "today", Day(programme.Period?.End), programme.GetExtensionValue<Integer>(Extensions.PainLimit)?.Value ?? 0, settings.Clinic)
        {
            Large = size == "large",
            Paper = paper == "letter" ? SheetPaper.Letter : SheetPaper.A4,
            Draft = programme.Status == RequestStatus.Draft,
            OnHold = programme.Status == RequestStatus.OnHold,
            Carer = carer?.Name.FirstOrDefault()?.Text,
            Often = often.Count == 1 ? often[0] : null,
            Exercises = [.. exercises.OrderBy(e => e.WarmUp ? 0 : 1).Select(e => often.Count == 1 ? e with { Often = null } : e)],
            TakeCare = [.. exercises.SelectMany(e => e.TakeCare).Distinct()],
            EmergencySigns = [.. SafetyScreen.Catalogue.Where(f => f.Urgency == Urgency.Emergency).Select(f => f.Title)],
            StopSigns = [.. SafetyScreen.Catalogue.Where(f => f.Urgency == Urgency.UrgentReview).Select(f => f.Title)],
            Code = settings.Clinic.Website is { Length: > 0 } address ? QrCode.Svg(address) : null,
        };
        return view with { Grade = Readability.Grade(string.Join(' ', exercises.SelectMany(Words))) };
    }

    private async Task<SheetExercise> ExerciseAsync(ServiceRequest request, CancellationToken ct)
    {
        var definition = request.InstantiatesCanonical.FirstOrDefault() is { } canonical
            ? await store.ByAddressAsync<ActivityDefinition>("exercise", LibraryReads.AddressOf(canonical), ct) : null;
        var setUp = ExerciseParts.SetUpOf(request) ?? new ExerciseSetUp(new DosageRequest(), null, null, null, null);
        var grading = ExerciseParts.GradingOf(request);
        var cautions = AppliedCaution.AnswersOf(request);
        var side = Sides.Of(request.BodySite.FirstOrDefault());
        return new SheetExercise(request.Id!, request.Code?.Text ?? definition?.Title ?? "Exercise")
        {
            Purpose = definition?.Purpose,
            Own = request.Note.FirstOrDefault()?.Text,
            Need = [.. ExerciseParts.EquipmentOf(request).Select(e => e.HouseholdAlternative is { } or ? $"{e.Item} (or {or})" : e.Item!)],
            Position = setUp.Position is { } position ? CodeLists.Position.Words(position) : null,
            Hand = Hand(side, setUp.HandOrder),
            Help = setUp.HelpLevel is { } help ? CodeLists.HelpLevel.Words(help) : null,
            Steps = definition?.Description,
            Amount = PlainWords.Dosage(setUp.Dosage),
            Often = Timings.Often(Timings.Whole(Timings.From(request.Occurrence as Timing))),
            Counts = setUp.SuccessCriterion,
            Easier = [.. grading.Where(g => g.Direction == "easier").Select(g => PlainWords.Sentence(g.Text!))],
            Harder = [.. grading.Where(g => g.Direction == "harder").Select(g => PlainWords.Sentence(g.Text!))],
            StopIf = [.. cautions.Where(c => c.Stop && c.Text is not null).Select(Caution).Distinct()],
            TakeCare = [.. cautions.Where(c => !c.Stop && c.Text is not null).Select(Caution).Distinct()],
            Pictures = definition is null ? [] : [.. PicturesOf(definition)],
            WarmUp = definition?.Topic.FirstOrDefault().CodeIn(Systems.ExerciseRole) == "warm-up",
        };
    }

    private static string Caution(CautionAnswer caution) =>
        PlainWords.Sentence(caution.Condition is { } condition && caution.Precautions.Count == 0 ? $"{caution.Text!.TrimEnd('.')} ({condition})" : caution.Text!);

    private static string Hand(string? side, string? order) => (side, order) switch
    {
        ("left" or "right", null or "affected-only") => $"your {side} hand",
        (Sides.Both, null) => "both hands",
        ("left" or "right", { } o) => $"your {side} arm and hand: {CodeLists.HandOrder.Words(o)}",
        (_, { } o) => CodeLists.HandOrder.Words(o),
        _ => "both hands",
    };

    /// <summary>Only what lies in the record itself: a sheet never fetches anything from elsewhere.</summary>
    internal static IEnumerable<(string Source, string Words)> PicturesOf(ActivityDefinition definition) =>
        from picture in ShownOf(definition)
        select ($"data:{picture.ContentType};base64,{Convert.ToBase64String(picture.Data!)}", picture.Title ?? definition.Title ?? "Picture of the exercise");

    internal static IEnumerable<Attachment> ShownOf(ActivityDefinition definition) =>
        definition.RelatedArtifact.Select(a => a.Document).OfType<Attachment>().Where(p => p.Data is { Length: > 0 and <= MostPictureBytes } && PictureTypes.Contains(p.ContentType));

    private static IEnumerable<string> Words(SheetExercise e) =>
        new[] { e.Purpose, e.Own, e.Steps, e.Amount, e.Counts }.OfType<string>().Concat(e.Easier).Concat(e.Harder).Concat(e.StopIf).Concat(e.TakeCare).Select(PlainWords.Sentence);

    private static string? Day(string? iso) => Addresses.Day(iso) is { } day ? Notes.Wording.Date(day) : null;
}
