using Hl7.Fhir.Model;
using RehabRecords.Terms;

namespace RehabRecords.Notes;

/// <summary>A heading of a document.</summary>
/// <param name="System">System of its code.</param>
/// <param name="WhenEmpty">What is said where nothing stands under it.</param>
/// <param name="EmptyReason">Code of list-empty-reason.</param>
public sealed record Heading(NoteSection Section, string Title, string System, string Code, string WhenEmpty, string EmptyReason = "unavailable");

/// <summary>
/// The headings of the kinds of documents. Those of a discharge summary are the national heading set (PRSB and AoMRC, as the
/// ITK FHIR eDischarge specification codes it with SNOMED CT of the UK edition), in the order in which a reader needs them.
/// </summary>
public static class Headings
{
    public static IReadOnlyList<Heading> Soap { get; } =
    [
        new(NoteSection.Subjective, "Subjective", Systems.Loinc, Loinc.Subjective, "Nothing said by the person or a carer has been recorded."),
        new(NoteSection.Objective, "Objective", Systems.Loinc, Loinc.Objective, "No results have been recorded."),
        new(NoteSection.Assessment, "Assessment", Systems.Loinc, Loinc.Assessment, "There is not enough in the record to describe a course."),
        new(NoteSection.Plan, "Plan", Systems.Loinc, Loinc.PlanOfCare, "No rule makes a suggestion from this record."),
    ];

    public static IReadOnlyList<Heading> Discharge { get; } =
    [
        National(NoteSection.PatientDemographics, "Patient demographics", "886731000000109", "Nothing is recorded of the person."),
        National(NoteSection.GpPractice, "GP practice", "886711000000101", "The GP practice is not recorded here."),
        National(NoteSection.ReferrerDetails, "Referrer details", "1052891000000108", "Who referred the person is not recorded here."),
        National(NoteSection.AdmissionDetails, "Admission details", "886781000000108", "When the episode of care began is not recorded."),
        National(NoteSection.DischargeDetails, "Discharge details", "886811000000106", "Nothing is recorded of the discharge."),
        National(NoteSection.Diagnoses, "Diagnoses", "887161000000102", "No diagnosis is recorded here."),
        National(NoteSection.ClinicalSummary, "Clinical summary", "887181000000106", "There is not enough in the record to describe a course."),
        National(NoteSection.AssessmentScales, "Assessment scales", "887141000000103", "No measure was recorded."),
        National(NoteSection.Procedures, "Procedures", "887171000000109", "No practice was recorded."),
        National(NoteSection.InvestigationResults, "Investigation results", "1082101000000102", "Investigations are not kept in this record; absence here says nothing about them."),
        National(NoteSection.Devices, "Medications and medical devices", "933361000000108", "Medicines are not kept in this record, and no equipment was recorded as supplied or used."),
        National(NoteSection.Allergies, "Allergies and adverse reactions", "886921000000105", "Allergies are not kept in this record; absence here does not mean that there are none. Ask the person and see the GP record."),
        National(NoteSection.SafetyAlerts, "Safety alerts", "886931000000107", "No alert is recorded; absence here does not mean that there is no risk."),
        National(NoteSection.LegalInformation, "Legal information", "886961000000102", "Capacity, consent and other legal matters were not stated with the discharge.", "notasked"),
        National(NoteSection.SocialContext, "Social context", "887051000000101", "Home and who helps there are not recorded."),
        National(NoteSection.IndividualRequirements, "Individual requirements", "1052901000000109", "Communication and other individual needs were not stated with the discharge.", "notasked"),
        National(NoteSection.ResearchParticipation, "Participation in research", "886751000000102", "Participation in research was not asked about.", "notasked"),
        National(NoteSection.Concerns, "Patient and carer concerns, expectations and wishes", "1052941000000107", "Nothing said by the person or a carer has been recorded."),
        National(NoteSection.InformationGiven, "Information and advice given", "1052951000000105", "No information or advice was stated with the discharge.", "notasked"),
        National(NoteSection.PlanAndActions, "Plan and requested actions", "887201000000105", "Nothing was planned or asked for."),
        National(NoteSection.PersonCompleting, "Person completing record", "887231000000104", "Who completed this record is not known."),
        National(NoteSection.DistributionList, "Distribution list", "887261000000109", "Nobody was named to get this summary."),
    ];

    /// <summary>
    /// Those of a letter to the next team: headings of the same set, fewer, in the order of a letter, and named for who reads
    /// it. The codes say which heading of the set each is.
    /// </summary>
    public static IReadOnlyList<Heading> Letter { get; } =
    [
        Lettered(NoteSection.DistributionList, "To", "Nobody was named to get this letter."),
        Lettered(NoteSection.PatientDemographics, "About", "Nothing is recorded of the person."),
        Lettered(NoteSection.PlanAndActions, "Why this letter, and what is asked", "Nothing was asked for."),
        Lettered(NoteSection.SafetyAlerts, "Alerts and precautions"),
        Lettered(NoteSection.Diagnoses, "Diagnosis"),
        Lettered(NoteSection.ClinicalSummary, "Course so far"),
        Lettered(NoteSection.AssessmentScales, "Measures and goals"),
        Lettered(NoteSection.Procedures, "Programme and practice at home"),
        Lettered(NoteSection.Devices, "Equipment", "Medicines are not kept in this record, and no equipment was recorded as used."),
        Lettered(NoteSection.IndividualRequirements, "Individual needs", "Communication and other individual needs were not stated with the letter."),
        Lettered(NoteSection.SocialContext, "Home and who helps"),
        Lettered(NoteSection.Concerns, "What the person and the carer said"),
        Lettered(NoteSection.InformationGiven, "What they were told", "No information or advice was stated with the letter."),
        Lettered(NoteSection.LegalInformation, "Capacity and consent", "Capacity, consent and other legal matters were not stated with the letter."),
        Lettered(NoteSection.GpPractice, "GP practice"),
        Lettered(NoteSection.PersonCompleting, "From", "Who wrote this letter is not known."),
    ];

    private static readonly Dictionary<NoteSection, Heading> BySection = Soap.Concat(Discharge).ToDictionary(h => h.Section);

    private static readonly Dictionary<(string, string), NoteSection> ByCode = Soap.Concat(Discharge).ToDictionary(h => (h.System, h.Code), h => h.Section);

    /// <summary>All headings of the kind of document that a Composition is.</summary>
    public static IReadOnlyList<Heading> Of(Composition document) =>
        document.Type.CodeIn(Systems.Loinc) switch { Loinc.DischargeSummary => Discharge, Loinc.TransferSummary => Letter, _ => Soap };

    /// <summary>Which heading a stored section stands for; one without a known code counts as the first part of a note.</summary>
    public static NoteSection Of(Composition.SectionComponent section) =>
        section.Code?.Coding.Select(c => ByCode.TryGetValue((c.System ?? "", c.Code ?? ""), out var known) ? known : (NoteSection?)null).FirstOrDefault(s => s is not null) ?? NoteSection.Subjective;

    public static string Title(NoteSection section) => BySection[section].Title;

    public static string WhenEmpty(NoteSection section) => BySection[section].WhenEmpty;

    private static Heading National(NoteSection section, string title, string code, string whenEmpty, string reason = "unavailable") =>
        new(section, title, Systems.SnomedCt, code, whenEmpty, reason);

    private static Heading Lettered(NoteSection section, string title, string? whenEmpty = null)
    {
        var national = Discharge.Single(h => h.Section == section);
        return national with { Title = title, WhenEmpty = whenEmpty ?? national.WhenEmpty };
    }
}
