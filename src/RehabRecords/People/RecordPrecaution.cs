using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using FluentValidation;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.People;

/// <summary>A precaution that became known after the person was recorded.</summary>
public sealed record NewPrecautionRequest
{
    [Required, Description("reduced-sensation, shoulder-pain, fragile-skin, swelling, falls-risk, neglect, spasticity, seizures, cognition, communication, swallowing or anticoagulant.")]
    public string? Code { get; init; }

    [Description("What it means for this person.")]
    public string? Note { get; init; }

    [Description("The day from which it is known; today when left out.")]
    public DateOnly? Since { get; init; }

    [Required, Description("The clinician who records it.")]
    public Clinician? By { get; init; }
}

/// <summary>The withdrawal of a precaution that no longer holds.</summary>
public sealed record WithdrawalRequest
{
    [Required, Description("The clinician who withdraws it.")]
    public Clinician? By { get; init; }

    [Required, Description("Why it no longer holds, in at least 10 characters.")]
    public string? Reason { get; init; }
}

/// <summary>What follows from a precaution for the programmes under way.</summary>
/// <param name="Precaution">As it stands.</param>
/// <param name="Status">active or inactive.</param>
/// <param name="Cautions">Cautions that apply and that a prescription does not say yet; revise the programme to tell the person.</param>
public sealed record PrecautionOutcome(PrecautionAnswer Precaution, string Status, IReadOnlyList<UntoldCaution> Cautions);

/// <param name="Programme">Id of the programme.</param>
/// <param name="Text">The caution with its exercises, its reason and its source, as the draft note has it.</param>
public sealed record UntoldCaution(string Programme, string Code, string Text);

internal sealed class NewPrecautionRules : AbstractValidator<NewPrecautionRequest>
{
    public NewPrecautionRules(TimeProvider clock)
    {
        RuleFor(p => p.Code).Needed($"one of: {CodeLists.Precaution}");
        RuleFor(p => p.Code).OneOf(CodeLists.Precaution, "a precaution");
        RuleFor(p => p.Note).Text(Rules.LongText);
        RuleFor(p => p.Since).Custom((since, context) =>
        {
            if (since > DateOnly.FromDateTime(clock.GetUtcNow().UtcDateTime).AddDays(1))
                context.Fault($"{context.PropertyPath} is {since:yyyy-MM-dd}, which is to come; give the day from which it is known, or leave it out for today.");
        });
        RuleFor(p => p.By).Needed("the clinician who records it, with name and role");
        RuleFor(p => p.By).SetValidator(new ClinicianRules()!);
    }
}

internal sealed class WithdrawalRules : AbstractValidator<WithdrawalRequest>
{
    private const int ShortestReason = 10;

    public WithdrawalRules()
    {
        RuleFor(w => w.By).Needed("the clinician who withdraws it, with name and role");
        RuleFor(w => w.By).SetValidator(new ClinicianRules()!);
        RuleFor(w => w.Reason).Needed("why it no longer holds");
        RuleFor(w => w.Reason).Text(Rules.LongText);
        RuleFor(w => w.Reason).Custom((reason, context) =>
        {
            if (!string.IsNullOrWhiteSpace(reason) && reason.Trim().Length < ShortestReason)
                context.Fault($"reason is '{reason}', which has {reason.Trim().Length} characters; say in at least {ShortestReason} why it no longer holds.");
        });
    }
}

/// <summary>
/// Records a precaution of a person who has programmes under way, and withdraws one. No prescription is changed by it: the
/// cautions that it brings are told to the clinician, in the answer and in the open drafts, who revises what the person has.
/// </summary>
public sealed class RecordPrecaution(RecordStore store, Recording recording, ProgressReader reader, UpToDate upToDate, TimeProvider clock)
{
    /// <summary>Sessions may be posted meanwhile, which move the draft that is redone.</summary>
    private const int Tries = 20;

    public Task<IResult> AddAsync(string person, Posted<NewPrecautionRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var (patient, _) = await store.RoutedAsync<Patient>(person, "person", cancel);
        var (request, now) = (posted.Body, clock.GetUtcNow());
        if ((await PrecautionsAsync(person, cancel)).FirstOrDefault(f => f.Status == Flag.FlagStatus.Active && f.Code.CodeIn(Systems.Precaution) == request.Code) is { } known)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Duplicate,
                $"code is '{request.Code}', which is recorded already as precaution '{known.Id}'; withdraw that one first if it has changed.", "code");
        var flag = new PrecautionRequest { Code = request.Code, Note = request.Note }.ToFlag(patient.Id!, request.Since ?? DateOnly.FromDateTime(now.UtcDateTime));
        flag.Author = await request.By!.ReferenceAsync(store, set, cancel);
        set.Create(flag);
        return new Recorded<PrecautionOutcome>(StatusCodes.Status201Created, $"/api/people/{person}", await FollowAsync(set, person, flag, cancel));
    }, ct, Tries);

    public Task<IResult> WithdrawAsync(string person, string precaution, Posted<WithdrawalRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var (flag, version) = await store.RoutedAsync<Flag>(precaution, "precaution", cancel);
        if (!PrecautionMapping.IsPrecaution(flag) || flag.Subject?.Reference != $"Patient/{person}")
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"Person '{Rules.Shown(person)}' has no precaution '{precaution}'; GET /api/people/{{id}} lists them.", "precaution");
        if (flag.Status != Flag.FlagStatus.Active)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"Precaution '{precaution}' is {flag.StatusElement?.JsonValue}, not active; there is nothing to withdraw.", "precaution");
        var (by, reason, now) = (posted.Body.By!, posted.Body.Reason!, clock.GetUtcNow());
        flag.Status = Flag.FlagStatus.Inactive;
        // A day, as its beginning is: a day and a time of the same day cannot be told apart.
        (flag.Period ??= new Period()).End = DateOnly.FromDateTime(now.UtcDateTime).ToString("yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture);
        flag.Extension.Add(new Extension
        {
            Url = Extensions.FlagCleared,
            Extension = [new Extension("by", new FhirString(by.Words)), new Extension("at", new Instant(now)), new Extension("reason", new FhirString(reason))],
        });
        flag.Text = Readable.Of($"Precaution, withdrawn: {flag.Code?.Text}", $"Withdrawn by {by.Words}, because: {reason}");
        set.Update(flag, version);
        return new Recorded<PrecautionOutcome>(StatusCodes.Status200OK, "", await FollowAsync(set, person, flag, cancel));
    }, ct, Tries);

    private async Task<PrecautionOutcome> FollowAsync(WriteSet set, string person, Flag flag, CancellationToken ct)
    {
        var cautions = new List<UntoldCaution>();
        foreach (var programme in await reader.ProgrammesOfAsync(person, ct))
        {
            var before = await reader.ReadAsync(programme, ct);
            await upToDate.AddToOpenAsync(set, before, ct);
            var after = before.With([flag]);
            if (after.Programme.End is null || after.Programme.End >= DateOnly.FromDateTime(clock.GetUtcNow().UtcDateTime))
                cautions.AddRange(CautionStatements.Of(after).Select(s => new UntoldCaution(programme, s.Id[(s.Rule.Id.Length + 1)..], s.Text)));
        }

        return new PrecautionOutcome(
            new PrecautionAnswer(flag.Id!, flag.Code.CodeIn(Systems.Precaution), flag.Code!.Text, flag.Period?.Start),
            flag.Status == Flag.FlagStatus.Active ? "active" : "inactive", cautions);
    }

    private async Task<IEnumerable<Flag>> PrecautionsAsync(string person, CancellationToken ct) =>
        (await store.FindAllAsync<Flag>($"subject=Patient/{person}", ct)).Where(PrecautionMapping.IsPrecaution);
}
