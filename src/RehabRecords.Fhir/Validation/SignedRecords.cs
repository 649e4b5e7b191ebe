using Hl7.Fhir.Model;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Fhir.Validation;

/// <summary>
/// What was signed stays as it was signed, whichever way a change arrives. A document Bundle never changes (R4: "Once
/// assembled into a bundle, the document is immutable"), nor does a Provenance that holds a signature. A Composition under
/// such a signature may only be marked as entered in error, together with a Provenance that says why; everything else is an
/// amendment, which is a new Composition.
/// </summary>
internal static class SignedRecords
{
    public static async Task<IReadOnlyList<Issue>> ProblemsAsync(RecordStore store, WriteSet set, CancellationToken ct)
    {
        var problems = new List<Issue>();
        for (var i = 0; i < set.Writes.Count; i++)
        {
            var write = set.Writes[i];
            if (write.FromVersion > 0 && write.Type is "Composition" or "Bundle" or "Provenance"
                && await ProblemAsync(store, set, write, ct) is { } problem)
                problems.Add(Issue.Error(OperationOutcome.IssueType.BusinessRule, problem, write.Type) with { Write = i });
        }

        return problems;
    }

    private static async Task<string?> ProblemAsync(RecordStore store, WriteSet set, Write write, CancellationToken ct)
    {
        if (await store.ReadAsync(write.Type, write.Id, ct) is not { Deleted: false } current)
            return null;
        var address = current.Address;
        switch (ResourceReader.Trusted<Resource>(current.Json))
        {
            case Bundle { Type: Bundle.BundleType.Document } when !write.IsDelete || await IsSignedAsync(store, address, ct):
                return $"{address} is a document, and a document never changes once it is made{(write.IsDelete ? "; this one is signed" : "")}. Amend the note it was made from (POST /api/notes/{{id}}/amendments), or store another document.";
            case Provenance { Signature.Count: > 0 }:
                return $"{address} holds a signature and never changes. To withdraw what was signed, mark the note as entered in error (POST /api/notes/{{id}}/entered-in-error).";
            case Composition before when before.Status != CompositionStatus.Preliminary && await IsSignedAsync(store, address, ct) && !IsMarkedWrong(set, write, before):
                return $"{address} is signed, at version {current.Version}. What is signed is not changed and not deleted: amend it (POST /api/notes/{write.Id}/amendments), or mark it as entered in error (POST /api/notes/{write.Id}/entered-in-error).";
            default:
                return null;
        }
    }

    private static async Task<bool> IsSignedAsync(RecordStore store, string address, CancellationToken ct) =>
        (await store.FindAllAsync<Provenance>($"target={address}", ct)).Any(p => p.Signature.Count > 0);

    /// <summary>Only the mark itself, its reason and what is said of it may differ.</summary>
    private static bool IsMarkedWrong(WriteSet set, Write write, Composition before)
    {
        if (write.Resource is not Composition { Status: CompositionStatus.EnteredInError } after
            || !set.Writes.Any(w => w.FromVersion == 0 && w.Resource is Provenance { Reason.Count: > 0 } p
                && p.Target.Exists(t => t.Reference == $"Composition/{write.Id}/_history/{write.FromVersion + 1}")))
            return false;
        return Core(before).IsExactly(Core(after));

        static Composition Core(Composition note)
        {
            var core = (Composition)note.DeepCopy();
            core.Meta = null;
            core.Status = CompositionStatus.EnteredInError;
            core.Text = null;
            core.Title = "-";
            core.Extension.Clear();
            foreach (var section in core.Section)
                section.Text = null;
            return core;
        }
    }
}
