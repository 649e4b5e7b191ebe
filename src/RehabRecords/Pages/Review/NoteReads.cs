using Hl7.Fhir.Model;
using RehabRecords.Documents;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Notes;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Review;

/// <summary>Reads what the page of a note shows.</summary>
internal sealed class NoteReads(RecordStore store, DocumentKinds kinds, EvidenceReads evidence, Reviews reviews, NoteVersions versions, SignatureCheck signatures)
{
    /// <param name="version">An older version; the current one when left out.</param>
    /// <exception cref="RefusedException">There is no such note, or no such version of it.</exception>
    public async Task<NotePageView> ReadAsync(string id, int? version, CancellationToken ct)
    {
        if ((Rules.IsId(id) ? await store.GetAsync<Composition>(id, ct) : null) is not var (current, latest) || kinds.Of(current) is not { } kind)
            throw NoteInHand.Unknown(id);
        var old = version is { } asked && asked != latest;
        var note = old ? (await versions.AtAsync(id, version!.Value, ct)).Note : current;
        var view = NoteView.Of(note, kind);
        var page = await OfAsync(note, kind, old ? version!.Value : latest, ct);
        if (old)
            return page with { Latest = latest };
        var replacedBy = note.IsDraft() ? null : await versions.ReplacedByAsync(note.Identifier!, ct);
        var signature = note.IsDraft() ? null : await signatures.OfAsync(id, ct);
        return page with
        {
            Note = page.Note with
            {
                Review = note.IsDraft() ? await reviews.OfAsync(note, kind, ct) : null,
                ReplacedBy = replacedBy is null ? null : $"/notes/{replacedBy}",
            },
            Signature = signature is null ? null : await signatures.CheckAsync(signature, null, ct),
        };
    }

    /// <summary>A Composition at hand, with what its statements rest on.</summary>
    public async Task<NotePageView> OfAsync(Composition note, DocumentKind kind, int version, CancellationToken ct)
    {
        var statements = NoteStatement.Of(note, kind);
        var lines = await evidence.OfAsync(statements.SelectMany(s => s.Evidence), ct);
        return new NotePageView(note.Id!, version, NoteView.Of(note, kind), Presentation.Mark(note),
        [
            .. note.Section.Select(part => new PartView(
                part.Title ?? "", part.EmptyReason?.Text ?? "Nothing is recorded.",
                [.. statements.Where(s => s.Part == part).Select(s => Line(s, Headings.Of(part), kind, lines))])),
        ])
        { LastDay = kind.LastDay };
    }

    private static StatementLine Line(NoteStatement statement, NoteSection section, DocumentKind kind, IReadOnlyDictionary<string, EvidenceLine> lines)
    {
        var rule = statement.Rule == NoteStatement.OwnRule ? null : NoteRules.Of(statement.Rule, section);
        return new StatementLine(
            StatementView.Of(statement), rule?.Title ?? "", rule?.When ?? "", rule?.Source ?? "",
            // Addresses of one type are in the order they were made; the latest are looked for first.
            [.. statement.Evidence.Select(a => lines[a]).Reverse()],
            statement.IsUrgent && statement.State != StatementState.Removed, kind.RedFlagRules.Contains(statement.Rule));
    }
}
