using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir.Validation;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>
/// A programme is one thing: where part of it is in conflict, none of it is changed, and what rests on new parts of it waits.
/// What was practised is taken in whatever is decided, since it happened.
/// </summary>
internal static class WhatWaits
{
    private const string Kept = "Ours was kept.";

    public static IReadOnlyList<Step> Among(IReadOnlyList<Step> steps, Choice decision)
    {
        var all = steps.ToList();
        if (decision == Choice.Theirs)
            return all;
        var conflict = decision == Choice.None && all.Exists(s => s.Fate == Fate.Conflict && IsOfTheProgramme(s.Entry.Resource));
        for (var i = 0; i < all.Count; i++)
        {
            var step = all[i];
            if (!IsOfTheProgramme(step.Entry.Resource))
                continue;
            if (conflict && step.Fate is Fate.Created or Fate.Updated)
                all[i] = step with { Fate = Fate.Waits, Write = null, Why = "It belongs to a programme that was changed on both sides." };
            else if (decision == Choice.Ours && step.Write is not null)
                all[i] = step with { Fate = Fate.Unchanged, Write = null, Why = Kept };
        }

        if (!conflict)
            EndWhatWasPractised(all, steps);
        LeaveOutWhatRestsOnNothing(all);
        return all;
    }

    public static bool IsOfTheProgramme(Resource resource) =>
        resource is CarePlan or ServiceRequest || (resource is FhirTask task && task.Code.CodeIn(Systems.Decision) is not null);

    /// <summary>A prescription that was not chosen, but practised: it is kept as one that ended with its last result.</summary>
    private static void EndWhatWasPractised(List<Step> all, IReadOnlyList<Step> judged)
    {
        for (var i = 0; i < all.Count; i++)
        {
            var step = all[i];
            if (step.Entry.Resource is not ServiceRequest || step.Twin.Here is not null || step.Write is not null)
                continue;
            var address = $"ServiceRequest/{step.Twin.Id}";
            var days = all.Where(s => s.Write is Observation o && o.BasedOn.Exists(b => b.Reference == address))
                .Select(s => Addresses.Day((((Observation)s.Write!).Effective as FhirDateTime)?.Value)).OfType<DateOnly>().ToList();
            if (days.Count == 0 || (judged[i].Write ?? step.Said) is not ServiceRequest said)
                continue;
            var ended = (ServiceRequest)said.DeepCopy();
            var last = days.Max();
            ended.Status = RequestStatus.Revoked;
            if (Programmes.Timings.Bounds(ended) is { } bounds)
                bounds.End = Programmes.Timings.Iso(last);
            ended.PatientInstruction = $"The last day of this was {last.ToString("d MMMM yyyy", CultureInfo.InvariantCulture)}; another version was chosen.\n{ended.PatientInstruction}";
            ended.Text = Readable.Of(ended.PatientInstruction.Split('\n'));
            all[i] = step with { Fate = Fate.Created, Write = ended, Why = "Taken in as ended, because results rest on it; ours was kept." };
        }
    }

    /// <summary>What is not here cannot be referred to.</summary>
    private static void LeaveOutWhatRestsOnNothing(List<Step> all)
    {
        var undecided = all.Exists(s => s.Fate == Fate.Conflict);
        for (var again = true; again;)
        {
            again = false;
            var absent = all.Where(s => s.Twin.Here is null && s.Write is null).Select(s => $"{s.Entry.Type}/{s.Twin.Id}").ToHashSet(StringComparer.Ordinal);
            for (var i = 0; i < all.Count; i++)
                if (all[i].Write is { } write && References.In(write).Select(r => LiteralReference.Of(r.Reference!).Unversioned).FirstOrDefault(absent.Contains) is { } missing)
                {
                    all[i] = all[i] with
                    {
                        Fate = undecided ? Fate.Waits : Fate.Unchanged,
                        Write = null,
                        Why = undecided ? $"It rests on {missing}, which waits." : $"Not taken in: it rests on {missing}, which was not chosen.",
                    };
                    again = true;
                }
        }
    }
}
