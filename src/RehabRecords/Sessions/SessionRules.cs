using FluentValidation;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Sessions;

internal sealed class SessionRules : AbstractValidator<SessionRequest>
{
    public static readonly string[] ReporterRoles = ["patient", "carer", "clinician", "support-worker"];
    public static readonly string[] Severities = ["mild", "moderate", "severe"];

    /// <summary>Clocks of two machines differ a little.</summary>
    public static readonly TimeSpan ClockTolerance = TimeSpan.FromMinutes(5);

    public SessionRules(TimeProvider clock)
    {
        RuleFor(s => s.Identifier).SetValidator(new BusinessIdRules()!);
        RuleFor(s => s.Person).Needed("the person's id");
        RuleFor(s => s.Person).IdOf("Patient");
        RuleFor(s => s.Programme).Needed("the id of the person's programme");
        RuleFor(s => s.Programme).IdOf("CarePlan");
        RuleFor(s => s.ReportedBy).Needed("who reports, with the role");
        RuleFor(s => s.ReportedBy).SetValidator(new ReporterRules()!);
        RuleFor(s => s.Remark).Text(Rules.LongText);
        RuleFor(s => s.DoneAt).Custom((doneAt, context) =>
        {
            var now = clock.GetUtcNow();
            if (doneAt > now + ClockTolerance)
                context.Fault($"doneAt is {doneAt:yyyy-MM-dd'T'HH:mm:sszzz}, which is in the future (it is {now:yyyy-MM-dd'T'HH:mm:ss'Z'}); give the time it was done, at most {ClockTolerance.TotalMinutes} minutes ahead of the clock.");
        });
        RuleFor(s => s).Custom(OneKindOfSession);
        RuleFor(s => s.Missed).SetValidator(new MissedRules()!);
        RuleFor(s => s.Exercises).AtMost(50);
        RuleForEach(s => s.Exercises).SetValidator(new ResultRules());
        RuleFor(s => s.AdverseEvents).AtMost(10);
        RuleForEach(s => s.AdverseEvents).ChildRules(harm =>
        {
            harm.RuleFor(h => h.Kind).Needed($"one of: {CodeLists.AdverseEventKind}");
            harm.RuleFor(h => h.Kind).OneOf(CodeLists.AdverseEventKind, "a kind of harm");
            harm.RuleFor(h => h.Severity).Needed($"one of: {string.Join(", ", Severities)}");
            harm.RuleFor(h => h.Severity).OneOf(Severities, "a severity");
            harm.RuleFor(h => h.Description).Needed("what happened, in the reporter's words");
            harm.RuleFor(h => h.Description).Text(Rules.LongText);
        });
        RuleFor(s => s.RedFlags).Distinct(code => code, "the red flag");
        RuleForEach(s => s.RedFlags).Custom((code, context) =>
        {
            if (!CodeLists.RedFlag.Has(code))
                context.Fault($"{context.PropertyPath} is '{Rules.Shown(code)}', which is not a red flag; use one of: {CodeLists.RedFlag}. If somebody is in danger, call the emergency number first.");
        });
    }

    private static void OneKindOfSession(SessionRequest session, ValidationContext<SessionRequest> context)
    {
        if (session.Missed is not null)
        {
            if (session.Exercises is { Count: > 0 } done)
                context.FaultOf("missed", $"is given together with {done.Count} exercises; send either what was done (doneAt and exercises) or a missed session. An exercise left out of a session that took place is 'skipped'.");
            if (session.DoneAt is not null)
                context.FaultOf("missed", "is given together with doneAt; a missed session has plannedFor instead. Leave one of them out.");
        }
        else if (session.DoneAt is null)
            context.FaultOf("doneAt", "is missing; give the date and time it was done with the offset, such as 2026-06-01T09:30:00+01:00, or say 'missed' with plannedFor and reason.");
        else if (session is { Exercises: null or { Count: 0 }, AdverseEvents: null or { Count: 0 }, RedFlags: null or { Count: 0 } })
            context.FaultOf("exercises", "is empty and nothing else is reported; list what was done, or report a missed session, an adverse event or a red flag.");
    }

    private sealed class ReporterRules : AbstractValidator<ReporterRequest>
    {
        public ReporterRules()
        {
            RuleFor(r => r.Role).Needed($"one of: {string.Join(", ", ReporterRoles)}");
            RuleFor(r => r.Role).OneOf(ReporterRoles, "who can report");
            RuleFor(r => r.Name).Text(Rules.ShortText);
        }
    }

    private sealed class MissedRules : AbstractValidator<MissedRequest>
    {
        public MissedRules()
        {
            RuleFor(m => m.PlannedFor).Needed("the day it was planned for, such as 2026-06-01");
            RuleFor(m => m.Reason).Needed($"one of: {CodeLists.NotDoneReason}");
            RuleFor(m => m.Reason).OneOf(CodeLists.NotDoneReason, "a reason");
            RuleFor(m => m.Note).Text(Rules.LongText);
        }
    }
}

internal sealed class ResultRules : AbstractValidator<ResultRequest>
{
    public static readonly string[] Sided = [Sides.Left, Sides.Right, Sides.Both];

    public ResultRules()
    {
        RuleFor(r => r.Exercise).Needed("the id of the prescribed exercise, or the exercise's code");
        RuleFor(r => r.Exercise).Text(Rules.ShortText);
        RuleFor(r => r.Sets).WithinRange(0, SessionRequest.MostSets, "a number of sets");
        RuleFor(r => r.Repetitions).WithinRange(0, SessionRequest.MostRepetitions, "a number of repetitions");
        RuleFor(r => r.PurposefulRepetitions).WithinRange(0, SessionRequest.MostRepetitions, "a number of repetitions");
        RuleFor(r => r.PurposefulRepetitions).Custom((purposeful, context) =>
        {
            if (purposeful > context.InstanceToValidate.Repetitions)
                context.Fault($"{context.PropertyPath} is {purposeful}, more than the {context.InstanceToValidate.Repetitions} repetitions done; purposeful repetitions are counted among all. Correct one of them.");
        });
        RuleFor(r => r.Minutes).WithinRange(0, SessionRequest.MostMinutes, "minutes");
        RuleFor(r => r.Help).OneOf(CodeLists.HelpLevel, "a level of help");
        RuleFor(r => r.Side).OneOf(Sided, "a side");
        RuleFor(r => r.PainBefore).WithinRange(0, 10, "pain");
        RuleFor(r => r.PainDuring).WithinRange(0, 10, "pain");
        RuleFor(r => r.PainAfter).WithinRange(0, 10, "pain");
        RuleFor(r => r.Exertion).SetValidator(new ExertionRules()!);
        RuleFor(r => r.Fatigue).WithinRange(0, 10, "fatigue");
        RuleFor(r => r.Quality).OneOf(CodeLists.Quality, "a quality");
        RuleFor(r => r.Skipped).ChildRules(skipped =>
        {
            skipped.RuleFor(s => s!.Reason).Needed($"one of: {CodeLists.NotDoneReason}");
            skipped.RuleFor(s => s!.Reason).OneOf(CodeLists.NotDoneReason, "a reason");
            skipped.RuleFor(s => s!.Note).Text(Rules.LongText);
        });
        RuleFor(r => r.Skipped).Custom((skipped, context) =>
        {
            if (skipped is not null && context.InstanceToValidate.SaysWhatWasDone)
                context.Fault($"{context.PropertyPath} is given together with results; send either what was done or why it was skipped.");
        });
    }

    private sealed class ExertionRules : AbstractValidator<ExertionRequest>
    {
        public ExertionRules() => RuleFor(e => e).Custom((exertion, context) =>
        {
            switch (exertion)
            {
                case { Scale: null }:
                    context.FaultOf("scale", "is missing; name the scale the value was taken on: 0-10 or 6-20.");
                    break;
                case { Value: null }:
                    context.FaultOf("value", "is missing; give 0 to 10 on the scale 0-10 or 6 to 20 on the scale 6-20, or leave exertion out.");
                    break;
                case { Scale: "0-10", Value: < 0 or > 10 }:
                    context.FaultOf("value", $"is {Rules.Number(exertion.Value.Value)}, which the scale 0-10 does not have; give 0 to 10 in steps of 0.5, or name the scale 6-20 if that one was used.");
                    break;
                case { Scale: "0-10" } when exertion.Value * 2 % 1 != 0:
                    context.FaultOf("value", $"is {Rules.Number(exertion.Value!.Value)}; give 0 to 10 in steps of 0.5.");
                    break;
                case { Scale: "6-20" } when exertion.Value is < 6 or > 20 || exertion.Value % 1 != 0:
                    context.FaultOf("value", $"is {Rules.Number(exertion.Value!.Value)}, which the scale 6-20 does not have; give a whole number from 6 to 20, or name the scale 0-10 if that one was used.");
                    break;
                case { Scale: not ("0-10" or "6-20") }:
                    context.FaultOf("scale", $"is '{Rules.Shown(exertion.Scale!)}', which is not an exertion scale; use one of: 0-10, 6-20.");
                    break;
            }
        });
    }
}
