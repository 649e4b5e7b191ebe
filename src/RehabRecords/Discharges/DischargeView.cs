using Hl7.Fhir.Model;
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
    IReadOnlyList<BlockerView> Blockers, IReadOnlyList<StaleView> Stale, NoteView Summary)
{
    internal static DischargeView Of(Composition summary, EpisodeOfCare episode, IReadOnlyList<BlockerView> blockers, IReadOnlyList<StaleView> stale)
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

/// <summary>A sentence of the summary that would read otherwise if it were drafted now.</summary>
/// <param name="Statement">Id of the statement.</param>
/// <param name="Was">As it stands; null when it would be new.</param>
/// <param name="Now">As it would be drafted; null when it would not be there.</param>
public sealed record StaleView(string Statement, string? Was, string? Now)
{
    /// <summary>What somebody edited or removed on purpose is theirs: only what the software wrote is compared.</summary>
    internal static IReadOnlyList<StaleView> Between(IReadOnlyList<Statement> drafted, IReadOnlyList<Statement> now)
    {
        var (was, would) = (drafted.ToDictionary(s => s.Id), now.ToDictionary(s => s.Id));
        return
        [
            .. now.Where(s => !was.ContainsKey(s.Id)).Select(s => new StaleView(s.Id, null, s.Text)),
            .. drafted.Where(s => would.TryGetValue(s.Id, out var other) && other.Text != s.Text).Select(s => new StaleView(s.Id, s.Text, would[s.Id].Text)),
            .. drafted.Where(s => !would.ContainsKey(s.Id)).Select(s => new StaleView(s.Id, s.Text, null)),
        ];
    }
}

/// <summary>One line of a list of discharges.</summary>
public sealed record DischargeLine(string Id, string Address, string Status, string From, string DischargedOn, string Composition);
