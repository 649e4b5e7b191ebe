using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Host;

namespace RehabRecords.Rest;

/// <summary>A Bundle posted to the base: a transaction (all of it or nothing) or a batch (each entry for itself).</summary>
internal static class BundleEndpoint
{
    public static async Task<IResult> ExecuteAsync(Call call)
    {
        call.RefuseOtherQueryThan();
        var bundle = await call.ReadBodyAsync() as Bundle
            ?? throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Invalid, "Only a Bundle is executed here. Send a single resource to /fhir/<type>.");
        return bundle.Type switch
        {
            Bundle.BundleType.Transaction => await TransactAsync(call, bundle),
            Bundle.BundleType.Batch => await BatchAsync(call, bundle),
            _ => throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.NotSupported,
                $"A Bundle of type {bundle.Type?.ToString().ToLowerInvariant() ?? "none"} is not executed. Use transaction or batch, or send it to /fhir/Bundle to have it stored.", "Bundle.type"),
        };
    }

    private static async Task<IResult> TransactAsync(Call call, Bundle bundle)
    {
        var read = TransactionEntry.Of(bundle, call.Settings.FhirBase);
        var wrong = read.Where(e => e.Refused is not null).SelectMany(e => e.Refused!.Issues).ToList();
        if (wrong.Count > 0)
            throw new RefusedException(Refusal.Malformed, wrong);
        var entries = read.Select(e => e.Entry!).ToList();
        // What is read comes after what is written, but a reading that cannot succeed must fail the whole beforehand.
        foreach (var entry in entries.Where(e => e.ReadUrl is not null))
            await InPlaceAsync(entry.Index, () => call.Need<Reads>().AtAsync(entry.ReadUrl!, call.Prefer.Lenient, call.Ct));

        var changes = entries.Where(e => e.Change is not null).Select(e => e.Change!).ToList();
        foreach (var entry in entries.Where(e => e.Change is not null))
            await InPlaceAsync(entry.Index, () => MayAsync(call, entry.Change!));
        var changed = await call.Need<Transaction>().AllAsync(changes, call.Ct);
        using var answer = new BundleBody(call.Settings.FhirBase, "transaction-response");
        var next = 0;
        foreach (var entry in entries)
        {
            if (entry.Change is not null)
                Answer(call, answer, changed[next++]);
            else
                await ReadAsync(call, answer, entry);
        }
        return new BodyResult(call, answer.End());
    }

    private static async Task<IResult> BatchAsync(Call call, Bundle bundle)
    {
        using var answer = new BundleBody(call.Settings.FhirBase, "batch-response");
        foreach (var (entry, refused) in TransactionEntry.Of(bundle, call.Settings.FhirBase))
        {
            if (refused is not null)
                Refused(answer, refused);
            else if (entry!.Change is null)
                await ReadAsync(call, answer, entry);
            else
                await ChangeAsync(call, answer, entry.Change);
        }
        return new BodyResult(call, answer.End());
    }

    private static async Task ChangeAsync(Call call, BundleBody answer, Change change)
    {
        try
        {
            await MayAsync(call, change);
            Answer(call, answer, (await call.Need<Transaction>().AllAsync([change], call.Ct))[0]);
        }
        catch (RefusedException refused)
        {
            Refused(answer, refused);
        }
    }

    private static async Task ReadAsync(Call call, BundleBody answer, TransactionEntry entry)
    {
        try
        {
            var (body, version) = await call.Need<Reads>().AtAsync(entry.ReadUrl!, call.Prefer.Lenient, call.Ct);
            if (version is not null && Known.Is(version, entry.Has.IfNoneMatch, entry.Has.IfModifiedSince))
                answer.Answered("304 Not Modified", version, location: false, resource: default, outcome: default);
            else
                answer.Answered("200 OK", version, location: false, entry.HeadersOnly ? default : body, outcome: default);
        }
        catch (RefusedException refused)
        {
            Refused(answer, refused);
        }
    }

    private static void Answer(Call call, BundleBody answer, Changed changed)
    {
        var (status, location, said) = changed.Effect switch
        {
            Effect.Created => ("201 Created", true, WriteEndpoints.Created),
            Effect.Found => ("200 OK", true, WriteEndpoints.Found),
            Effect.Updated => ("200 OK", true, WriteEndpoints.Stored),
            Effect.Unchanged => ("200 OK", true, WriteEndpoints.Unchanged),
            _ => ("204 No Content", false, WriteEndpoints.Deleted),
        };
        var resource = call.Prefer.Return == Return.Representation && location ? changed.Version!.Json : default;
        var outcome = call.Prefer.Return == Return.Outcome ? ResourceWriter.Json(OutcomeResult.Outcome([WrittenResult.Said(changed.Version, said)])) : default;
        answer.Answered(status, changed.Version, location, resource, outcome);
    }

    private static void Refused(BundleBody answer, RefusedException refused)
    {
        var status = Failure.StatusOf(refused.Refusal);
        answer.Answered($"{status} {ReasonPhrases.GetReasonPhrase(status)}", null, location: false, resource: default, ResourceWriter.Json(OutcomeResult.Outcome(refused.Issues)));
    }

    private static Task MayAsync(Call call, Change change) => ResourceAccess.RequireAsync(call.Need<Calling>(), call.Need<RecordStore>(), change, call.Ct);

    private static async Task InPlaceAsync(int index, Func<Task> read)
    {
        try
        {
            await read();
        }
        catch (RefusedException refused)
        {
            throw new RefusedException(refused.Refusal, [.. refused.Issues.Select(i => i with { Expression = $"Bundle.entry[{index}].request.url" })]);
        }
    }
}
