using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Audit;
using RehabRecords.Discharges;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;
using RehabRecords.People;
using RehabRecords.Rest.Bulk;
using RehabRecords.Retention;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Erasure;

/// <summary>Erases a person's record in two steps of a records officer: one that shows what will go, and one that confirms just that.</summary>
internal sealed class EraseRecord(
    Stores stores, Calling calling, Witness witness, Recording recording, RecordStore witnessed, AuditTrail trail, RetentionReview review, ErasureLedger ledger, BulkJobs exports, Settings settings, TimeProvider clock)
{
    private const string Prefix = "erasure-";

    /// <summary>Days for which a request can be confirmed. Common practice, no source: long enough for another look, short enough to be remembered.</summary>
    private const int ValidDays = 7;

    /// <summary>How long the answer waits for those who read; what is left then is said.</summary>
    private static readonly TimeSpan _clearingPatience = TimeSpan.FromMilliseconds(300);

    private string Organisation => calling.Caller.Organisation;

    /// <summary>The whole store, past the trail of reads: what is looked at here must not leave a new trace of the person.</summary>
    private RecordStore Store => calling.Caller.People is null ? stores.Of(Organisation) : throw Calling.Refused("A record is erased by a records officer who may see the whole record of the organisation.");

    public async Task<IResult> ShowAsync(string id, Posted<ErasureRequest> posted, CancellationToken ct)
    {
        var request = posted.Body;
        var (person, _) = await Store.RoutedAsync<Patient>(id, "person", ct);
        var people = await PeopleAsync(person, ct);
        var open = await RefuseAsync(person, people, request.Basis!, request.LeaveOpen == true, ct);
        var by = LegalHold.Officer(calling.Caller, request.By!);
        var task = "";
        await recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            foreach (var earlier in (await witnessed.FindAllAsync<FhirTask>($"patient=Patient/{id}&status=requested", cancel)).Where(IsRequest))
            {
                earlier.Status = FhirTask.TaskStatus.Cancelled;
                set.Update(earlier, int.Parse(earlier.Meta!.VersionId!, System.Globalization.CultureInfo.InvariantCulture));
            }

            task = set.Create(Asked(id, request, await by.ReferenceAsync(witnessed, set, cancel))).Id!;
            return new Recorded<string>(StatusCodes.Status201Created, "", task);
        }, ct, Clinician.Tries);
        if (task.Length == 0)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Duplicate, "This was asked for already. Ask again without the Idempotency-Key, or with a new one, to see what would be erased now.");
        using var snapshot = await Store.SnapshotAsync(ct);
        var plan = snapshot.PlanErasure(people);
        var retention = await review.OfAsync(Store, person, ct);
        var name = person.Name.FirstOrDefault();
        return TypedResults.Json(
            new ErasureShown(
                task, $"Patient/{id}", name?.Family, PersonMapping.GivenNames(name), person.BirthDate, people, request.Basis!, $"{retention.State}: {retention.Why}",
                plan.Resources, plan.Versions, plan.Types, plan.AuditEvents, plan.Elsewhere, plan.Digest, open, clock.GetUtcNow().AddDays(ValidDays)),
            TradeJson.Options, statusCode: StatusCodes.Status201Created);
    }

    public async Task<ErasureDone> ConfirmAsync(string id, string request, ErasureConfirmation confirmation, CancellationToken ct)
    {
        var (person, _) = await Store.RoutedAsync<Patient>(id, "person", ct);
        var (task, _) = await Store.RoutedAsync<FhirTask>(request, "request", ct);
        if (!IsRequest(task) || task.For?.Reference != $"Patient/{id}" || task.Status != FhirTask.TaskStatus.Requested)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"'{Rules.Shown(request)}' is no open request to erase this person's record; ask for it first (POST /api/people/{{id}}/erasure).", "request");
        if (task.AuthoredOnElement is not { } asked || asked.ToDateTimeOffset(TimeSpan.Zero).AddDays(ValidDays) < clock.GetUtcNow())
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Expired, $"It was asked for on {task.AuthoredOn}, more than {ValidDays} days ago; ask again and look at what is shown then.", "request");
        if (Rules.Bare(confirmation.Person!, "Patient") != id || !string.Equals(confirmation.FamilyName, person.Name.FirstOrDefault()?.Family, StringComparison.Ordinal))
            throw Missing.Bad("person", "person or familyName is not of the person whose record is to be erased; nothing was erased. Look again whom you mean.");
        var people = await PeopleAsync(person, ct);
        var basis = task.ReasonCode?.Text ?? "";
        await RefuseAsync(person, people, basis, task.Input.Exists(i => i.Type.Text == LeaveOpen), ct);
        using (var snapshot = await Store.SnapshotAsync(ct))
            if (snapshot.PlanErasure(people) is var plan && plan.Versions != confirmation.Versions)
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"versions is {confirmation.Versions}, and the record has {plan.Versions} now. Ask again, and confirm what is shown then.", "versions");

        // What was noted and is no event yet would otherwise come into the trail after it.
        if (settings.AuditIsOn)
            await trail.SettleAsync(ct);
        var tombstone = await Store.EraseAsync(Order(await PatientsAsync(Store, people, ct), Guid.NewGuid().ToString("D"), LegalHold.Officer(calling.Caller, confirmation.By!).Words, basis, confirmation), CancellationToken.None);
        await ledger.AddAsync(Organisation, Store, [tombstone], CancellationToken.None);
        exports.DeleteAll(Organisation);
        var cleared = await Store.ClearRemainsAsync(all: false, _clearingPatience, CancellationToken.None);
        return new ErasureDone(ErasureView.Of(tombstone), cleared,
        [
            .. cleared ? (string[])[] : ["Deleted rows are still in the database's files: run clear-remains (docs/retention.md)."],
            "Backups made before today still hold the record until they expire (docs/retention.md).",
        ]);
    }

    private ErasureOrder Order(IReadOnlyList<Patient> patients, string id, string by, string basis, ErasureConfirmation confirmation) =>
        new([.. patients.Select(p => p.Id!).Distinct()], id, clock.GetUtcNow(), by, basis, confirmation.Digest, confirmation.RecordDigest)
        {
            Mentions = ErasedTrail.Mentions(patients),
            Redact = ErasedTrail.Redact,
            Attest = tombstone => new AccessEvents(settings).Erased(tombstone, witness.IsOn ? witness.Who : Who.Of(calling.Caller), witness.RequestId, witness.Address),
        };

    /// <summary>All versions of the Patients.</summary>
    internal static async Task<IReadOnlyList<Patient>> PatientsAsync(RecordStore store, IReadOnlyList<string> people, CancellationToken ct)
    {
        var all = new List<Patient>();
        foreach (var id in people)
            all.AddRange((await store.HistoryAsync("Patient", id, ct)).Where(v => !v.Deleted).Select(v => ResourceReader.Trusted<Patient>(v.Json)));
        return all;
    }

    /// <summary>The person and those who were merged into them; a merged record is not erased alone, since its content is in the other.</summary>
    private async Task<IReadOnlyList<string>> PeopleAsync(Patient person, CancellationToken ct)
    {
        if (Replaced.By(person) is { } survivor)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"This record was merged into Patient/{survivor}; it is erased together with that one.", "id");
        return await Replaced.RecordsOfAsync(Store, person.Id!, ct);
    }

    /// <summary>What stands in the way; what is only unfinished may be left open, if that was said.</summary>
    private async Task<IReadOnlyList<BlockerView>> RefuseAsync(Patient person, IReadOnlyList<string> people, string basis, bool leaveOpen, CancellationToken ct)
    {
        foreach (var one in people)
            if (await LegalHold.InForceAsync(Store, one, ct) is [var hold, ..])
                throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule,
                    $"The record is under legal hold since {hold.Period?.Start} ({hold.Code?.Text}). It can be erased when the hold is lifted (POST /api/people/{{id}}/legal-holds/{hold.Id}/lifting).", "id");
        var retention = await review.OfAsync(Store, person, ct);
        if (basis == Bases.RetentionOver && retention.State != RetentionReview.Due)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule,
                $"basis is {Bases.RetentionOver}, and the time is not over: {retention.Why}{(retention.DueOn is { } due ? $", so not before {due:yyyy-MM-dd}" : "")}. Wait until then, or name another ground that holds.", "basis");
        var open = (await Blockers.OfAsync(Store, person.Id!, [], DateOnly.MaxValue, ct)).Where(b => !b.Blocker.StartsWith($"Task/{Prefix}", StringComparison.Ordinal)).ToList();
        foreach (var plan in (await Store.FindAllAsync<CarePlan>($"subject=Patient/{person.Id}", ct)).Where(p => p.Status is RequestStatus.Active or RequestStatus.OnHold))
            open.Add(new BlockerView("open-programme", $"CarePlan/{plan.Id}", $"programme “{plan.Title}”, {plan.StatusElement?.JsonValue}", "discharge the person first (POST /api/discharges)", true));
        if (open.Count > 0 && !leaveOpen)
            throw new RefusedException(Refusal.Conflict, [.. open.Select(b => Issue.Error(OperationOutcome.IssueType.Conflict, $"{b.Blocker} is open: {b.What}; {b.Remedy}, or say leaveOpen: true to erase it as it is.", b.Blocker))]);
        return open;
    }

    private const string LeaveOpen = "leave open";

    internal static bool IsRequest(FhirTask task) => task.Id!.StartsWith(Prefix, StringComparison.Ordinal);

    private FhirTask Asked(string person, ErasureRequest request, ResourceReference by) => new()
    {
        Id = Prefix + NewId.Next(),
        Status = FhirTask.TaskStatus.Requested,
        Intent = FhirTask.TaskIntent.Order,
        Code = new CodeableConcept { Text = "Erase the record" },
        Description = request.Reason!.Trim(),
        For = new ResourceReference($"Patient/{person}"),
        AuthoredOnElement = new FhirDateTime(clock.GetUtcNow()),
        Requester = by,
        ReasonCode = new CodeableConcept { Text = request.Basis },
        Input = request.LeaveOpen == true ? [new FhirTask.ParameterComponent { Type = new CodeableConcept { Text = LeaveOpen }, Value = new FhirBoolean(true) }] : [],
        Text = Readable.Of($"Asked by {by.Display}: erase the record ({request.Basis}).", request.Reason.Trim()),
    };
}
