using Hl7.Fhir.Model;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Notes;

/// <summary>
/// From findings to a draft: a function of the record only. The same record gives the same statements in the same order
/// and the same Composition, byte for byte.
/// </summary>
public static class NoteDraft
{
    /// <summary>All statements, in reading order.</summary>
    public static IReadOnlyList<Statement> Statements(ProgrammeRecord record, ProgrammeFindings findings) =>
    [
        .. SubjectiveSection.Of(record, findings),
        .. ObjectiveSection.Of(record, findings),
        .. AssessmentSection.Of(record, findings),
        .. PlanSection.Of(record, findings),
    ];

    /// <param name="openDraft">The draft to be replaced by its next version; null for a new note.</param>
    /// <param name="number">Number of a new note within its programme, from 1.</param>
    public static Composition Compose(ProgrammeRecord record, ProgrammeFindings findings, Composition? openDraft, int number = 1)
    {
        var composition = NoteComposition.Write(
            new NoteSubject(
                record.Person.Address, record.Person.Name, record.Programme.Id, record.Programme.Evidence, record.Programme.Title,
                number, findings.From, findings.To, record.EvidenceAt),
            Statements(record, findings));
        if (openDraft is not null)
        {
            composition.Id = openDraft.Id;
            composition.Identifier = openDraft.Identifier?.DeepCopy() as Identifier;
        }
        return composition;
    }

    /// <summary>Whether a stored draft already says exactly this.</summary>
    public static bool SaysTheSame(Composition stored, Composition drafted)
    {
        var (one, other) = ((Composition)stored.DeepCopy(), (Composition)drafted.DeepCopy());
        one.Id = other.Id = null;
        one.Profiled(Profiles.ProgressNote);
        other.Profiled(Profiles.ProgressNote);
        return one.IsExactly(other);
    }
}
