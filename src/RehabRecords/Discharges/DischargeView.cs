using Hl7.Fhir.Model;
using RehabRecords.Documents;
using RehabRecords.Notes;
using RehabRecords.Progress;

namespace RehabRecords.Discharges;

/// <summary>A discharge as /api answers it.</summary>
/// <param name="Address">Where it is read.</param>
/// <param name="Status">draft until a registered clinician has signed the summary, then signed, and completed once the episode is finished.</param>
/// <param name="Episode">The EpisodeOfCare.</param>
/// <param name="Programmes">Addresses of the programmes of the episode, latest first.</param>
/// <param name="Form">Exact version of what the clinician stated.</param>
/// <param name="Blockers">What stands in the way of completing it now; overridden ones are not among them.</param>
/// <param name="Stale">What the record has come to say otherwise since the summary was drafted; empty when nothing.</param>
/// <param name="Summary">The discharge summary: read, edited and signed as a note.</param>
public sealed record DischargeView(
    string Id, string Address, string Status, string Person, string From, string DischargedOn, string Episode, IReadOnlyList<string> Programmes, string Form,
    IReadOnlyList<BlockerView> Blockers, IReadOnlyList<DraftChange> Stale, NoteView Summary)
{
    internal static DischargeView Of(Composition summary, EpisodeOfCare episode, IReadOnlyList<BlockerView> blockers, IReadOnlyList<DraftChange> stale)
    {
        var about = summary.Event[0];
        string Detail(string type) => about.Detail.Select(d => d.Reference).First(r => r!.StartsWith(type + "/", StringComparison.Ordinal))!;
        return new DischargeView(
            summary.Id!, $"/api/discharges/{summary.Id}", StatusOf(summary, episode), summary.Subject!.Reference!, about.Period!.Start!, about.Period.End!,
            $"EpisodeOfCare/{episode.Id}",
            [.. about.Detail.Select(d => d.IdOf("CarePlan")).OfType<string>().Select(id => $"CarePlan/{id}")],
            Detail("QuestionnaireResponse"), blockers, stale, NoteView.Of(summary));
    }

    internal static string StatusOf(Composition summary, EpisodeOfCare episode) =>
        episode.Status == EpisodeOfCare.EpisodeOfCareStatus.Finished ? "completed"
        : summary.Status == CompositionStatus.Preliminary ? "draft" : "signed";
}

/// <summary>One line of a list of discharges.</summary>
public sealed record DischargeLine(string Id, string Address, string Status, string From, string DischargedOn, string Composition);
