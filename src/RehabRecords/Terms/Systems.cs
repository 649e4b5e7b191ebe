namespace RehabRecords.Terms;

/// <summary>Code systems: ours first, then those of others that the record uses.</summary>
public static class Systems
{
    public const string Exercise = Canonical.Base + "/CodeSystem/exercise";
    public const string SessionItem = Canonical.Base + "/CodeSystem/session-item";
    public const string AdherenceItem = Canonical.Base + "/CodeSystem/adherence-item";
    public const string HelpLevel = Canonical.Base + "/CodeSystem/help-level";
    public const string Quality = Canonical.Base + "/CodeSystem/quality";
    public const string NotDoneReason = Canonical.Base + "/CodeSystem/not-done-reason";
    public const string Limb = Canonical.Base + "/CodeSystem/limb";
    public const string Position = Canonical.Base + "/CodeSystem/position";
    public const string HandOrder = Canonical.Base + "/CodeSystem/hand-order";
    public const string GradingDimension = Canonical.Base + "/CodeSystem/grading-dimension";
    public const string Caution = Canonical.Base + "/CodeSystem/caution";
    public const string Precaution = Canonical.Base + "/CodeSystem/precaution";
    public const string RedFlag = Canonical.Base + "/CodeSystem/red-flag";
    public const string FlagCategory = Canonical.Base + "/CodeSystem/flag-category";
    public const string Measure = Canonical.Base + "/CodeSystem/measure";
    public const string MeasureStatus = Canonical.Base + "/CodeSystem/measure-status";
    public const string MeasureSite = Canonical.Base + "/CodeSystem/measure-site";
    public const string AshworthGrade = Canonical.Base + "/CodeSystem/modified-ashworth-grade";
    public const string MrcPowerGrade = Canonical.Base + "/CodeSystem/mrc-power-grade";
    public const string RankinGrade = Canonical.Base + "/CodeSystem/modified-rankin-grade";
    public const string AdverseEventKind = Canonical.Base + "/CodeSystem/adverse-event-kind";
    public const string ExerciseRole = Canonical.Base + "/CodeSystem/exercise-role";
    public const string CapacityBand = Canonical.Base + "/CodeSystem/capacity-band";
    public const string Decision = Canonical.Base + "/CodeSystem/decision";
    public const string Suggestion = Canonical.Base + "/CodeSystem/suggestion";
    public const string DecisionItem = Canonical.Base + "/CodeSystem/decision-item";
    public const string HomeLink = Canonical.Base + "/CodeSystem/home-link";
    public const string ReportingItem = Canonical.Base + "/CodeSystem/reporting-item";
    public const string WorkItem = Canonical.Base + "/CodeSystem/work-item";
    public const string NoteRule = Canonical.Base + "/CodeSystem/note-rule";
    public const string StatementState = Canonical.Base + "/CodeSystem/statement-state";

    public const string Loinc = "http://loinc.org";
    public const string SnomedCt = "http://snomed.info/sct";
    public const string Ucum = "http://unitsofmeasure.org";
    public const string Dicom = "http://dicom.nema.org/resources/ontology/DCM";
    public const string ObservationCategory = "http://terminology.hl7.org/CodeSystem/observation-category";
    public const string DataAbsentReason = "http://terminology.hl7.org/CodeSystem/data-absent-reason";
    public const string AdverseEventSeverity = "http://terminology.hl7.org/CodeSystem/adverse-event-severity";
    public const string PlanDefinitionType = "http://terminology.hl7.org/CodeSystem/plan-definition-type";
    public const string RelationshipRole = "http://terminology.hl7.org/CodeSystem/v3-RoleCode";
    public const string GoalCategory = "http://terminology.hl7.org/CodeSystem/goal-category";

    public const string SignatureType = "urn:iso-astm:E1762-95:2013";
    public const string ProvenanceParticipant = "http://terminology.hl7.org/CodeSystem/provenance-participant-type";
    public const string DocumentCompletion = "http://terminology.hl7.org/CodeSystem/v3-DocumentCompletion";

    /// <summary>The grades of a graded measure: the same figure means something else on each scale, so each has its own system.</summary>
    public static string GradeOf(string measure) => $"{Canonical.Base}/CodeSystem/{measure}-grade";
}

/// <summary>LOINC codes the record uses; no other LOINC code is written by us.</summary>
public static class Loinc
{
    public const string ProgressNote = "11508-9";
    public const string DischargeSummary = "18842-5";
    public const string TransferSummary = "18761-7";
    public const string Subjective = "61150-9";
    public const string Objective = "61149-1";
    public const string Assessment = "51848-0";
    public const string PlanOfCare = "18776-5";
    public const string ExerciseDuration = "55411-3";
    public const string PainSeverity = "72514-3";
    public const string PerceivedExertion = "82289-0";
    public const string GripLeft = "83173-5";
    public const string GripRight = "83174-3";
    public const string NineHolePegLeft = "83156-0";
    public const string NineHolePegRight = "83157-8";
    public const string TimedUpAndGo = "89423-8";
    public const string BarthelTotal = "96761-2";
    public const string ModifiedRankin = "75859-9";
}
