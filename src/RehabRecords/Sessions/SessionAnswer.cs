using RehabRecords.Clinical;
using RehabRecords.Notes;
using RehabRecords.Progress;

namespace RehabRecords.Sessions;

/// <summary>What is answered to a reported session. What is urgent stands first, before anything else is read.</summary>
/// <param name="Urgent">What cannot wait, most urgent first; null when there is nothing.</param>
/// <param name="Session">Address of the session under /fhir/.</param>
/// <param name="Resources">Addresses of everything that was stored for it.</param>
/// <param name="Adherence">So far, with the doubt: unreported occasions are neither done nor missed.</param>
/// <param name="Flags">All open red flags of the person, this session's among them.</param>
/// <param name="Suggestions">One per exercise; a clinician confirms or overrides.</param>
/// <param name="Note">The open draft of the programme's progress note, as it now stands.</param>
public sealed record SessionAnswer(
    IReadOnlyList<UrgentAnswer>? Urgent,
    string Session,
    IReadOnlyList<string> Resources,
    AdherenceView Adherence,
    IReadOnlyList<DoseView> Dose,
    IReadOnlyList<ChangeView> Changes,
    IReadOnlyList<FlagView> Flags,
    IReadOnlyList<SuggestionView> Suggestions,
    NoteView Note);

/// <param name="Urgency">emergency or urgent-review.</param>
/// <param name="Text">What to do now; local policy comes before it.</param>
public sealed record UrgentAnswer(string Urgency, string Code, string Text)
{
    public static IReadOnlyList<UrgentAnswer>? Of(IEnumerable<RaisedFlag> raised)
    {
        var urgent = raised.Where(r => r.Flag.Urgency is Clinical.Urgency.Emergency or Clinical.Urgency.UrgentReview)
            .OrderBy(r => r.Flag.Urgency)
            .Select(r => new UrgentAnswer(r.Flag.Urgency.Code(), r.Flag.Code, r.Flag.Text)).ToList();
        return urgent.Count == 0 ? null : urgent;
    }
}
