using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Sessions;

/// <summary>What was recorded of one exercise, item by item. What was not recorded is left out.</summary>
internal static class ResultComponents
{
    public static IEnumerable<Observation.ComponentComponent> Of(ResultRequest result)
    {
        if (result.Sets is { } sets)
            yield return Item(SessionItem.SetsDone, "Sets done", new Integer(sets));
        if (result.Repetitions is { } repetitions)
            yield return Item(SessionItem.RepetitionsDone, "Repetitions done", new Integer(repetitions));
        if (result.PurposefulRepetitions is { } purposeful)
            yield return Item(SessionItem.PurposefulRepetitionsDone, "Purposeful repetitions done", new Integer(purposeful));
        if (result.Minutes is { } minutes)
            yield return Item(SessionItem.MinutesDone, "Minutes done", Concepts.Ucum(minutes, "min"), Systems.Loinc, Loinc.ExerciseDuration);
        if (result.Help is { } help)
            yield return Item(SessionItem.HelpLevel, "Help", CodeLists.HelpLevel.Concept(help));
        foreach (var (item, words, pain) in ((string, string, int?)[])[
            (SessionItem.PainBefore, "Pain before", result.PainBefore),
            (SessionItem.PainDuring, "Pain during", result.PainDuring),
            (SessionItem.PainAfter, "Pain after", result.PainAfter)])
            if (pain is { } value)
                yield return Item(item, words, new Integer(value), Systems.Loinc, Loinc.PainSeverity);
        if (result.Exertion is { Value: { } exertion } rated)
            yield return rated.Scale == "6-20"
                ? Item(SessionItem.Exertion6To20, "Exertion, scale 6 to 20", new Integer((int)exertion), Systems.Dicom, "122734")
                : Item(SessionItem.Exertion0To10, "Exertion, scale 0 to 10", Points(exertion), Systems.Loinc, Loinc.PerceivedExertion);
        if (result.Fatigue is { } fatigue)
            yield return Item(SessionItem.Fatigue0To10, "Fatigue", new Integer(fatigue));
        if (result.Quality is { } quality)
            yield return Item(SessionItem.Quality, "Quality", CodeLists.Quality.Concept(quality));
    }

    public static ResultRequest From(Observation observation, string exercise)
    {
        DataType? Value(string item) => observation.Component.Find(c => c.Code.CodeIn(Systems.SessionItem) == item)?.Value;
        int? Whole(string item) => (Value(item) as Integer)?.Value;
        var ten = Value(SessionItem.Exertion0To10) switch { Integer i => i.Value, Quantity q => q.Value, _ => (decimal?)null };
        return new ResultRequest
        {
            Exercise = exercise,
            Sets = Whole(SessionItem.SetsDone),
            Repetitions = Whole(SessionItem.RepetitionsDone),
            PurposefulRepetitions = Whole(SessionItem.PurposefulRepetitionsDone),
            Minutes = (Value(SessionItem.MinutesDone) as Quantity)?.Value,
            Help = (Value(SessionItem.HelpLevel) as CodeableConcept).CodeIn(Systems.HelpLevel),
            Side = Sides.Of(observation.BodySite),
            PainBefore = Whole(SessionItem.PainBefore),
            PainDuring = Whole(SessionItem.PainDuring),
            PainAfter = Whole(SessionItem.PainAfter),
            Exertion = ten is not null ? new ExertionRequest { Scale = "0-10", Value = ten }
                : Whole(SessionItem.Exertion6To20) is { } twenty ? new ExertionRequest { Scale = "6-20", Value = twenty } : null,
            Fatigue = Whole(SessionItem.Fatigue0To10),
            Quality = (Value(SessionItem.Quality) as CodeableConcept).CodeIn(Systems.Quality),
            Skipped = observation.DataAbsentReason.CodeIn(Systems.NotDoneReason) is { } reason
                ? new SkippedRequest { Reason = reason, Note = observation.Note.FirstOrDefault()?.Text }
                : null,
        };
    }

    public static IEnumerable<string?> Words(PlacedResult placed, string? side)
    {
        var r = placed.Result;
        yield return PlainWords.Sentence(side is null ? placed.Title : $"{placed.Title} ({side})");
        if (r.Skipped is { } skipped)
        {
            yield return PlainWords.Sentence($"Skipped: {CodeLists.NotDoneReason.Words(skipped.Reason!)}{(skipped.Note is { } note ? $". In the reporter's words: {note}" : "")}");
            yield break;
        }

        var said = new[]
        {
            r.Sets is { } sets ? PlainWords.Count(sets, "set") : null,
            r.Repetitions is { } repetitions ? PlainWords.Count(repetitions, "repetition") : null,
            r.PurposefulRepetitions is { } purposeful ? $"{purposeful} of them purposeful" : null,
            r.Minutes is { } minutes ? $"{Rules.Number(minutes)} minutes" : null,
            r.Help is { } help ? CodeLists.HelpLevel.Words(help) : null,
            r.PainBefore is { } before ? $"pain before {before} of 10" : null,
            r.PainDuring is { } during ? $"pain during {during} of 10" : null,
            r.PainAfter is { } after ? $"pain after {after} of 10" : null,
            r.Exertion is { } exertion ? $"exertion {Rules.Number(exertion.Value!.Value)} on the scale {exertion.Scale}" : null,
            r.Fatigue is { } fatigue ? $"fatigue {fatigue} of 10" : null,
            r.Quality is { } quality ? CodeLists.Quality.Words(quality) : null,
        }.OfType<string>().ToList();
        yield return said.Count == 0 ? "Done; nothing else was recorded." : PlainWords.Sentence($"Done: {string.Join(", ", said)}");
    }

    private static DataType Points(decimal value) => value % 1 == 0 ? new Integer((int)value) : Concepts.Ucum(value, "{score}");

    private static Observation.ComponentComponent Item(string item, string words, DataType value, string? system = null, string? code = null)
    {
        var concept = Concepts.Concept(Systems.SessionItem, item, words);
        return new Observation.ComponentComponent { Code = system is null ? concept : concept.And(system, code!), Value = value };
    }
}
