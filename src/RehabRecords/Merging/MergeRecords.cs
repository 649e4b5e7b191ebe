using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Erasure;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Progress;
using RehabRecords.Retention;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Merging;

/// <summary>
/// Merges the record of a person that was made twice: one goes on, with the identifiers of both and with everything that referred to the other;
/// the other stays readable and says so. All of it in one transaction. What was signed is not touched.
/// </summary>
internal sealed class MergeRecords(RecordStore store, Recording recording, Calling calling, ProgressReader reader, UpToDate upToDate, TimeProvider clock)
{
    /// <summary>What arrives while records are merged is brought along in further rounds, of which there are few.</summary>
    private const int Rounds = 5;

    public async Task<IResult> MergeAsync(string id, Posted<MergeRequest> posted, CancellationToken ct)
    {
        var request = posted.Body;
        var duplicate = Rules.Bare(request.Duplicate!, "Patient");
        var by = LegalHold.Officer(calling.Caller, request.By!);
        var programmes = (IReadOnlyList<string>)[];
        var result = await recording.OnceAsync(posted.Key, async (set, cancel) =>
        {
            var (goesOn, version) = await store.RoutedAsync<Patient>(id, "person", cancel);
            var (replaced, replacedVersion) = await store.NamedAsync<Patient>("duplicate", duplicate, "person", cancel, alsoReplaced: true);
            RefuseStale("version", id, version, request.Version!.Value);
            RefuseStale("duplicateVersion", duplicate, replacedVersion, request.DuplicateVersion!.Value);
            await RefuseAsync(goesOn, replaced, request.Differs ?? [], cancel);
            programmes = [.. (await reader.ProgrammesOfAsync(id, cancel)).Concat(await reader.ProgrammesOfAsync(duplicate, cancel)).Distinct()];

            var signed = await MoveAsync(set, duplicate, id, cancel);
            Join(goesOn, replaced, by, clock.GetUtcNow());
            set.Update(goesOn, version);
            set.Update(replaced, replacedVersion);
            var provenance = set.Create(await ProvenanceAsync(set, goesOn, replaced, request.Reason!.Trim(), by, cancel));
            return new Recorded<MergeAnswer>(StatusCodes.Status200OK, "", new MergeAnswer(
                $"Patient/{id}", $"Patient/{duplicate}", set.Writes.Count(w => w.FromVersion > 0 && w.Type != "Patient"), signed, $"Provenance/{provenance.Id}"));
        }, ct, Clinician.Tries);
        await BringAlongAsync(duplicate, id, programmes, ct);
        return result;
    }

    /// <summary>Everything that refers to the duplicate refers to the person; what was signed does not, and is named.</summary>
    private async Task<IReadOnlyList<string>> MoveAsync(WriteSet set, string duplicate, string person, CancellationToken ct)
    {
        var signed = new List<string>();
        foreach (var held in await store.ReferrersAsync($"Patient/{duplicate}", ct))
        {
            if (held.Type is "Patient" or "Bundle" or "Provenance" or "AuditEvent")
                continue;
            // As this program writes it, a member's name, colon and value touch; inside a text the marks would be escaped.
            var before = Encoding.UTF8.GetString(held.Json.Span);
            var after = before.Replace($"\"reference\":\"Patient/{duplicate}\"", $"\"reference\":\"Patient/{person}\"", StringComparison.Ordinal);
            if (after == before)
                continue;
            var resource = ResourceReader.Trusted<Resource>(Encoding.UTF8.GetBytes(after));
            if (resource is Composition { Status: not CompositionStatus.Preliminary } && (await store.FindAllAsync<Provenance>($"target={held.Address}", ct)).Any(p => p.Signature.Count > 0))
                signed.Add(held.Address);
            // A hold that was lifted says of which record it was.
            else if (resource is not Flag flag || !LegalHold.Is(flag))
                set.Update(resource, held.Version);
        }

        return signed;
    }

    private static void Join(Patient goesOn, Patient replaced, Clinician by, DateTimeOffset now)
    {
        foreach (var identifier in replaced.Identifier.Where(i => !goesOn.Identifier.Exists(o => o.System == i.System && o.Value == i.Value)))
        {
            if (goesOn.Identifier.Exists(o => o.System == identifier.System))
                identifier.Use = Identifier.IdentifierUse.Old;
            goesOn.Identifier.Add(identifier);
        }

        goesOn.Link.Add(new Patient.LinkComponent { Other = new ResourceReference($"Patient/{replaced.Id}"), Type = Patient.LinkType.Replaces });
        // A business identifier is held once; the earlier versions tell which were here.
        replaced.Identifier = [];
        replaced.Active = false;
        replaced.Link.Add(new Patient.LinkComponent { Other = new ResourceReference($"Patient/{goesOn.Id}"), Type = Patient.LinkType.ReplacedBy });
        replaced.Text = Readable.Of($"This record was merged into Patient/{goesOn.Id} on {now:d MMMM yyyy} by {by.Words}. Use that one.");
    }

    private async Task<Provenance> ProvenanceAsync(WriteSet set, Patient goesOn, Patient replaced, string reason, Clinician by, CancellationToken ct)
    {
        List<ResourceReference> targets = [.. set.Writes.Where(w => w.FromVersion > 0).Select(w => new ResourceReference($"{w.Type}/{w.Id}/_history/{w.FromVersion + 1}"))];
        return new Provenance
        {
            Target = targets,
            Recorded = clock.GetUtcNow(),
            Activity = new CodeableConcept { Text = "Two records of one person merged" },
            Reason = [new CodeableConcept { Text = reason }],
            Agent = [new Provenance.AgentComponent { Who = await by.ReferenceAsync(store, set, ct) }],
            Text = Readable.Of($"Patient/{replaced.Id} was merged into Patient/{goesOn.Id} by {by.Words}, because: {reason}", $"{targets.Count} versions were made by it."),
        };
    }

    /// <summary>What came in between is moved too, and the open drafts and the adherence of the programmes are made again, as after any change.</summary>
    private async System.Threading.Tasks.Task BringAlongAsync(string duplicate, string person, IReadOnlyList<string> programmes, CancellationToken ct)
    {
        for (var round = 0; round < Rounds; round++)
        {
            var moved = 0;
            await recording.OnceAsync((IdempotencyKey?)null, async (set, cancel) =>
            {
                await MoveAsync(set, duplicate, person, cancel);
                moved = set.Writes.Count;
                return new Recorded<string>(StatusCodes.Status200OK, "", "");
            }, ct, Clinician.Tries);
            if (moved == 0)
                break;
        }

        foreach (var programme in programmes)
            await recording.OnceAsync((IdempotencyKey?)null, async (set, cancel) =>
            {
                await upToDate.AddToOpenAsync(set, await reader.ReadAsync(programme, cancel), cancel);
                return new Recorded<string>(StatusCodes.Status200OK, "", "");
            }, ct, Clinician.Tries);
    }

    private static void RefuseStale(string field, string id, int now, int seen)
    {
        if (now != seen)
            throw new RefusedException(Refusal.StaleVersion, OperationOutcome.IssueType.Conflict, $"{field} is {seen}, and Patient/{id} is at version {now}. Read it again, compare the two once more, and send that version.", field) { CurrentVersion = now };
    }

    private async System.Threading.Tasks.Task RefuseAsync(Patient goesOn, Patient replaced, IReadOnlyList<string> differs, CancellationToken ct)
    {
        if (goesOn.Id == replaced.Id)
            throw Missing.Bad("duplicate", "duplicate names the same record as the address; name the other one.");
        foreach (var (field, one) in new[] { ("id", goesOn), ("duplicate", replaced) })
        {
            if (Replaced.By(one) is { } survivor)
                throw Conflict(field, $"Patient/{one.Id} was merged into Patient/{survivor} already; name that one.");
            if (await LegalHold.InForceAsync(store, one.Id!, ct) is [var hold, ..])
                throw Conflict(field, $"Patient/{one.Id} is under legal hold since {hold.Period?.Start} ({hold.Code?.Text}); what is held is not changed. Merge when the hold is lifted.");
            if ((await store.FindAllAsync<FhirTask>($"patient=Patient/{one.Id}&status=requested", ct)).Any(EraseRecord.IsRequest))
                throw Conflict(field, $"Somebody asked for Patient/{one.Id} to be erased. Have that request cancelled (PUT /fhir/Task/… with the status cancelled), or let it be carried out.");
        }

        List<Issue> issues = [];
        void Differ(string what, string? here, string? there)
        {
            if (here is not null && there is not null && !string.Equals(here, there, StringComparison.OrdinalIgnoreCase) && !differs.Contains(what, StringComparer.Ordinal))
                issues.Add(Issue.Error(OperationOutcome.IssueType.Conflict, $"The {what.Replace('-', ' ')} of the two differs: {here} and {there}. If they are one person all the same, say that it was looked into (differs: [\"{what}\"]) and correct the wrong one.", "differs"));
        }

        Differ("birth-date", goesOn.BirthDate, replaced.BirthDate);
        Differ("family-name", goesOn.Name.FirstOrDefault()?.Family, replaced.Name.FirstOrDefault()?.Family);
        Differ("sex", Sex(goesOn), Sex(replaced));
        var (running, other) = (await RunningAsync(goesOn.Id!, ct), await RunningAsync(replaced.Id!, ct));
        if (running.Count > 0 && other.Count > 0)
            issues.Add(Issue.Error(OperationOutcome.IssueType.BusinessRule,
                $"Both records have something under way: {running[0]} and {other[0]}. A clinician decides which goes on and ends the other first (discharge, or the status revoked); it is not decided by a merge.", "duplicate"));
        if (issues.Count > 0)
            throw new RefusedException(Refusal.Conflict, issues);
    }

    private async Task<IReadOnlyList<string>> RunningAsync(string person, CancellationToken ct) =>
    [
        .. (await store.FindAllAsync<CarePlan>($"subject=Patient/{person}&status=active,on-hold", ct)).Select(p => $"the programme “{p.Title}” (CarePlan/{p.Id})"),
        .. (await store.FindAllAsync<EpisodeOfCare>($"patient=Patient/{person}&status=active,onhold", ct)).Select(e => $"an episode since {e.Period?.Start} (EpisodeOfCare/{e.Id})"),
    ];

    private static string? Sex(Patient patient) => patient.Gender is null or AdministrativeGender.Unknown ? null : patient.Gender.ToString();

    private static RefusedException Conflict(string field, string message) => new(Refusal.Conflict, OperationOutcome.IssueType.BusinessRule, message, field);
}
