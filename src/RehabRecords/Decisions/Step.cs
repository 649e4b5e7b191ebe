using RehabRecords.Clinical;
using RehabRecords.Library;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Decisions;

/// <summary>The one step of an advance or a step back: in one dimension, and what it changes in the prescription.</summary>
internal sealed record Step(Grading Grading, Prescribed Prescribed, string Words)
{
    /// <param name="taken">Steps taken before, newest last: of two in one dimension only the newer one is to be done.</param>
    public static Step Of(DecisionRequest request, Prescription prescription, Prescribed present, IEnumerable<Decision> taken)
    {
        var advance = request.Decision == DecisionCode.Advance;
        var dosage = request.Dosage is { } wanted ? wanted.Over(present.SetUp.Dosage) : present.SetUp.Dosage;
        var change = Amount(dosage).CompareTo(Amount(present.SetUp.Dosage));
        var direction = advance ? GradingDirection.Harder : GradingDirection.Easier;
        if (request.Dosage is not null && change != 0 && change > 0 != advance && request.Grading is null)
            throw Missing.Bad("dosage", $"dosage asks for {PlainWords.Dosage(dosage).TrimEnd('.')}, which is {(advance ? "less" : "more")} than the present {PlainWords.Dosage(present.SetUp.Dosage).TrimEnd('.')}; {request.Decision} goes the other way. Correct it, or give the step in 'grading' as well.");
        if (request.Dosage is not null && dosage == present.SetUp.Dosage && request.Grading is null)
            throw Missing.Bad("dosage", "dosage is what is prescribed already, so nothing would change; give the new dosage, or the step in 'grading'.");
        if (request.Grading is { Dimension: { } other } && other != GradingDimension.Repetitions.Code() && change != 0 && change > 0 == advance)
            throw Missing.Bad("dosage", $"dosage makes it {(advance ? "more" : "less")} and grading changes {other} too; take one step in one dimension at a time: leave one of them out.");

        var dimension = request.Grading?.Dimension ?? GradingDimension.Repetitions.Code();
        var text = request.Grading is null ? PlainWords.Dosage(dosage) : request.Grading.Text ?? Offered(dimension, direction, prescription);
        var grading = new Grading(direction, Codes.Parse<GradingDimension>(dimension), text);
        var instruction = present.Instruction ?? "";
        foreach (var earlier in taken.Where(d => d.Dimension == dimension && d.Step is not null))
            instruction = instruction.Replace(PlainWords.Sentence(earlier.Step!), "", StringComparison.Ordinal);
        if (request.Grading is not null)
            instruction = $"{instruction.Trim()} {PlainWords.Sentence(text)}".Trim();
        var changed = present with
        {
            SetUp = present.SetUp with { Dosage = dosage },
            Instruction = string.Join(' ', instruction.Split(' ', StringSplitOptions.RemoveEmptyEntries)) is { Length: > 0 } words ? words : null,
        };
        var amount = request.Dosage is not null && request.Grading is not null ? $" {PlainWords.Dosage(dosage)}" : "";
        return new Step(grading, changed, $"one step {(advance ? "harder" : "easier")} ({CodeLists.GradingDimension.Words(dimension)}): {PlainWords.Sentence(text)}{amount}");
    }

    /// <summary>Repetitions of an occasion where they are counted, its minutes otherwise.</summary>
    private static decimal Amount(DosageRequest dosage) =>
        dosage.Repetitions is { } repetitions ? repetitions * (dosage.Sets ?? 1) : dosage.Minutes ?? 0;

    private static string Offered(string dimension, GradingDirection direction, Prescription prescription)
    {
        var offered = prescription.Planned.Gradings.Where(g => g.Direction == direction).ToList();
        return offered.FindAll(g => g.Dimension.Code() == dimension) is [var one] ? one.Text : throw Missing.Bad("grading.text",
            $"grading.text is missing, and the exercise has not one {direction.Code()} grading of {dimension} left to take it from; write what is to be done"
            + (offered.Count == 0 ? "." : $", or choose of: {string.Join("; ", offered.Select(g => $"{g.Dimension.Code()}: {g.Text}"))}."));
    }
}
