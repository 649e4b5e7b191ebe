namespace RehabRecords.Terms;

/// <summary>The addresses under which our own definitions are known; see docs/fhir-mapping.md.</summary>
public static class Canonical
{
    public const string Base = "https://rehabrecords.example/fhir";

    /// <summary>The version of every definition under profiles/.</summary>
    public const string Version = "0.1.0";

    /// <summary>Address of a definition of ours by its id: a profile or an extension.</summary>
    public static string Structure(string id) => $"{Base}/StructureDefinition/{id}";

    /// <summary>System of the business identifiers that the service itself makes.</summary>
    public static string Identifier(string kind) => $"{Base}/id/{kind}";

    /// <summary>Unversioned address of an exercise of the library.</summary>
    public static string Exercise(string code) => $"{Base}/ActivityDefinition/{code}";

    /// <summary>Unversioned address of a programme template.</summary>
    public static string Template(string code) => $"{Base}/PlanDefinition/{code}";

    /// <summary>The address with its version pinned, so that what was prescribed cannot change underneath a person.</summary>
    public static string Pinned(string url, string version) => $"{url}|{version}";
}

/// <summary>Canonicals of our profiles.</summary>
public static class Profiles
{
    public const string Exercise = Canonical.Base + "/StructureDefinition/exercise";
    public const string ProgrammeTemplate = Canonical.Base + "/StructureDefinition/programme-template";
    public const string Programme = Canonical.Base + "/StructureDefinition/programme";
    public const string PrescribedExercise = Canonical.Base + "/StructureDefinition/prescribed-exercise";
    public const string Session = Canonical.Base + "/StructureDefinition/session";
    public const string ExerciseResult = Canonical.Base + "/StructureDefinition/exercise-result";
    public const string MeasureResult = Canonical.Base + "/StructureDefinition/measure-result";
    public const string AdherenceSummary = Canonical.Base + "/StructureDefinition/adherence-summary";
    public const string Goal = Canonical.Base + "/StructureDefinition/goal";
    public const string ProgressNote = Canonical.Base + "/StructureDefinition/progress-note";
    public const string ProgressionDecision = Canonical.Base + "/StructureDefinition/progression-decision";
    public const string HomeLink = Canonical.Base + "/StructureDefinition/home-link";
    public const string DischargeSummary = Canonical.Base + "/StructureDefinition/discharge-summary";
    public const string TransferLetter = Canonical.Base + "/StructureDefinition/transfer-letter";
    public const string DischargeForm = Canonical.Base + "/StructureDefinition/discharge-form";
    public const string DocumentSignature = Canonical.Base + "/StructureDefinition/document-signature";
    public const string ProgressNoteDocument = Canonical.Base + "/StructureDefinition/progress-note-document";
}

/// <summary>Canonicals of our extensions, and the names of the parts of the complex ones.</summary>
public static class Extensions
{
    public const string ExerciseDosage = Canonical.Base + "/StructureDefinition/exercise-dosage";
    public const string Equipment = Canonical.Base + "/StructureDefinition/equipment";
    public const string Grading = Canonical.Base + "/StructureDefinition/grading";
    public const string Caution = Canonical.Base + "/StructureDefinition/caution";
    public const string Level = Canonical.Base + "/StructureDefinition/level";
    public const string LevelReason = Canonical.Base + "/StructureDefinition/level-reason";
    public const string LevelProposal = Canonical.Base + "/StructureDefinition/level-proposal";
    public const string CapacityBand = Canonical.Base + "/StructureDefinition/capacity-band";
    public const string Reporting = Canonical.Base + "/StructureDefinition/reporting";
    public const string TimeZone = Canonical.Base + "/StructureDefinition/time-zone";
    public const string PainLimit = Canonical.Base + "/StructureDefinition/pain-limit";
    public const string Pause = Canonical.Base + "/StructureDefinition/pause";
    public const string RehabilitationContext = Canonical.Base + "/StructureDefinition/rehabilitation-context";
    public const string RecordedAt = Canonical.Base + "/StructureDefinition/recorded-at";
    public const string FlagSource = Canonical.Base + "/StructureDefinition/flag-source";
    public const string FlagCleared = Canonical.Base + "/StructureDefinition/flag-cleared";
    public const string AttainmentLevel = Canonical.Base + "/StructureDefinition/attainment-level";
    public const string GoalWeight = Canonical.Base + "/StructureDefinition/goal-weight";
    public const string StatedValue = Canonical.Base + "/StructureDefinition/stated-value";
    public const string StatementState = Canonical.Base + "/StructureDefinition/statement-state";
    public const string StatementChanged = Canonical.Base + "/StructureDefinition/statement-changed";
    public const string DraftedText = Canonical.Base + "/StructureDefinition/drafted-text";
    public const string RemovalReason = Canonical.Base + "/StructureDefinition/removal-reason";
    public const string NeedsALook = Canonical.Base + "/StructureDefinition/needs-a-look";
    public const string AmendmentReason = Canonical.Base + "/StructureDefinition/amendment-reason";
    public const string DocumentHash = Canonical.Base + "/StructureDefinition/document-sha-256";

    /// <summary>R4's own link from a request to the goal it serves.</summary>
    public const string PertainsToGoal = "http://hl7.org/fhir/StructureDefinition/resource-pertainsToGoal";

    /// <summary>Parts of <see cref="ExerciseDosage"/>.</summary>
    public static class Dosage
    {
        public const string Sets = "sets";
        public const string Repetitions = "repetitions";
        public const string Hold = "hold";
        public const string Rest = "rest";
        public const string Minutes = "minutes";
        public const string Tempo = "tempo";
        public const string Position = "position";
        public const string HandOrder = "handOrder";
        public const string HelpLevel = "helpLevel";
        public const string SuccessCriterion = "successCriterion";
    }

    /// <summary>Parts of <see cref="Caution"/>.</summary>
    public static class CautionPart
    {
        public const string Code = "code";
        public const string Condition = "condition";
        public const string Text = "text";
        public const string Stop = "stop";
        public const string Reason = "reason";
        public const string Precaution = "precaution";
        public const string Source = "source";
    }

    /// <summary>Parts of <see cref="Extensions.Pause"/>.</summary>
    public static class PausePart
    {
        public const string From = "from";
        public const string To = "to";
        public const string Reason = "reason";
        public const string By = "by";
        public const string At = "at";
        public const string EndedBy = "endedBy";
        public const string EndedAt = "endedAt";
    }
}
