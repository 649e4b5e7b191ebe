namespace RehabRecords.Terms;

/// <summary>The closed lists of docs/fhir-mapping.md. The words are for narrative, home sheets and error messages.</summary>
public static class CodeLists
{
    /// <summary>In rising order of help.</summary>
    public static readonly CodeList HelpLevel = new(Systems.HelpLevel,
        new("independent", "without help"),
        new("set-up", "with things set up by somebody"),
        new("verbal-prompt", "with spoken prompts"),
        new("hands-on", "with hands-on help"));

    public static readonly CodeList Quality = new(Systems.Quality,
        new("met", "success criterion met"),
        new("partly-met", "success criterion partly met"),
        new("not-met", "success criterion not met"));

    public static readonly CodeList NotDoneReason = new(Systems.NotDoneReason,
        new("fatigue", "too tired"),
        new("pain", "pain"),
        new("unwell", "unwell"),
        new("no-carer", "no carer to help"),
        new("no-time", "no time"),
        new("forgot", "forgotten"),
        new("no-equipment", "equipment not at hand"),
        new("appointment", "another appointment"),
        new("away", "away from home"),
        new("too-hard", "too hard"),
        new("declined", "declined"),
        new("other", "another reason"));

    public static readonly CodeList Limb = new(Systems.Limb,
        new("left-upper-limb", "left arm and hand"),
        new("right-upper-limb", "right arm and hand"),
        new("both-upper-limbs", "both arms and hands"));

    public static readonly CodeList Position = new(Systems.Position,
        new("sitting-at-table", "sitting at a table"),
        new("sitting-arm-supported", "sitting with the arm supported"),
        new("sitting", "sitting"),
        new("standing", "standing"),
        new("lying", "lying down"));

    public static readonly CodeList HandOrder = new(Systems.HandOrder,
        new("affected-first", "the affected hand first, then the other"),
        new("less-affected-first", "the less affected hand first, then the other"),
        new("both-together", "both hands together"),
        new("affected-only", "the affected hand only"));

    public static readonly CodeList GradingDimension = new(Systems.GradingDimension,
        new("speed", "speed"),
        new("vision", "vision"),
        new("object", "object"),
        new("support", "support"),
        new("precision", "precision"),
        new("range", "range"),
        new("hand-role", "role of each hand"),
        new("sensory", "touch and feeling"),
        new("help", "help"),
        new("repetitions", "repetitions"));

    public static readonly CodeList Caution = new(Systems.Caution,
        new("reduced-sensation", "reduced sensation"),
        new("warm-water", "warm water"),
        new("shoulder-pain", "shoulder pain"),
        new("fragile-skin", "fragile skin"),
        new("swelling", "swelling"),
        new("small-objects", "small objects"),
        new("sharp-objects", "sharp objects"),
        new("standing", "standing"),
        new("fatigue", "fatigue"),
        new("spasticity", "spasticity"),
        new("neglect", "neglect of one side"),
        new("general", "general caution"));

    public static readonly CodeList Precaution = new(Systems.Precaution,
        new("reduced-sensation", "reduced sensation"),
        new("shoulder-pain", "shoulder pain"),
        new("fragile-skin", "fragile skin"),
        new("swelling", "swelling"),
        new("falls-risk", "risk of falls"),
        new("neglect", "neglect of one side"),
        new("spasticity", "spasticity"),
        new("seizures", "seizures"),
        new("cognition", "thinking and memory"),
        new("communication", "communication"),
        new("swallowing", "swallowing"),
        new("anticoagulant", "takes an anticoagulant"));

    public static readonly CodeList RedFlag = new(Systems.RedFlag,
        new("face-droop", "face droop"),
        new("new-weakness", "new weakness"),
        new("speech-change", "change in speech"),
        new("sudden-numbness", "sudden numbness"),
        new("vision-loss", "sudden loss of vision"),
        new("sudden-confusion", "sudden confusion"),
        new("severe-headache", "severe headache"),
        new("chest-pain", "chest pain"),
        new("severe-breathlessness", "severe breathlessness"),
        new("collapse", "collapse"),
        new("seizure", "seizure"),
        new("fall-with-injury", "fall with injury"),
        new("head-injury", "head injury"),
        new("fall-without-injury", "fall without injury"),
        new("burn-or-scald", "burn or scald"),
        new("skin-damage", "skin damage"),
        new("new-swelling", "new swelling"),
        new("pain-above-limit", "pain above the limit set"),
        new("pain-lasting", "pain that lasts after rest"),
        new("night-pain", "pain at night"),
        new("palpitations", "palpitations"),
        new("dizziness", "dizziness"));

    /// <summary>What part an exercise plays in a session.</summary>
    public static readonly CodeList ExerciseRole = new(Systems.ExerciseRole,
        new("warm-up", "warm-up"),
        new("task", "task"));

    /// <summary>Upper-limb capacity, from least to most.</summary>
    public static readonly CodeList CapacityBand = new(Systems.CapacityBand,
        new("no-capacity", "no capacity"),
        new("poor", "poor capacity"),
        new("limited", "limited capacity"),
        new("notable", "notable capacity"),
        new("full", "full capacity"));

    /// <summary>What a clinician decided about an exercise.</summary>
    public static readonly CodeList Decision = new(Systems.Decision,
        new(DecisionCode.Advance, "one step harder"),
        new(DecisionCode.Hold, "hold"),
        new(DecisionCode.StepBack, "one step easier"),
        new(DecisionCode.Stop, "stop"),
        new(DecisionCode.Revise, "change"),
        new(DecisionCode.Add, "add"));

    /// <summary>What the progression rules may suggest.</summary>
    public static readonly CodeList Suggestion = new(Systems.Suggestion,
        new("advance", "advance"),
        new("hold", "hold"),
        new("step-back", "step back"),
        new("stop-and-review", "stop and review"));

    /// <summary>Who reports through a link.</summary>
    public static readonly CodeList HomeLink = new(Systems.HomeLink,
        new("patient", "reporting from home by the person"),
        new("carer", "reporting from home by a carer"));

    /// <summary>What the reporting standards ask of a programme and no other element holds.</summary>
    public static readonly CodeList ReportingItem = new(Systems.ReportingItem,
        new("training", "who delivers it and their training"),
        new("grouping", "alone or in a group"),
        new("supervision", "supervision"),
        new("setting", "setting"),
        new("motivation", "motivation"),
        new("adherence-measure", "how adherence is measured"),
        new("fidelity-measure", "how fidelity is measured"),
        new("progression-rule", "rule for progressing"),
        new("harm-reporting", "how harm is reported"),
        new("other-parts", "parts that are not exercise"),
        new("tailored", "generic or tailored"),
        new("tailoring-reason", "how it was tailored"));

    public static readonly CodeList WorkItem = new(Systems.WorkItem,
        new("briefing", "brief the carer"),
        new("briefing-acknowledgement", "acknowledge the briefing"),
        new("exchange-conflict", "decide between two versions"));

    public static readonly CodeList AdverseEventKind = new(Systems.AdverseEventKind,
        new("fall", "fall"),
        new("skin-injury", "skin injury"),
        new("burn-or-scald", "burn or scald"),
        new("pain-flare", "flare of pain"),
        new("swelling", "swelling"),
        new("other", "other harm"));

    /// <summary>Muscle groups (of which tone is graded), then movements (of which power is graded), of arm and hand.</summary>
    public static readonly CodeList MeasureSite = new(Systems.MeasureSite,
        new("shoulder-adductors", "shoulder adductors"),
        new("shoulder-internal-rotators", "shoulder internal rotators"),
        new("elbow-flexors", "elbow flexors"),
        new("elbow-extensors", "elbow extensors"),
        new("forearm-pronators", "forearm pronators"),
        new("forearm-supinators", "forearm supinators"),
        new("wrist-flexors", "wrist flexors"),
        new("wrist-extensors", "wrist extensors"),
        new("finger-flexors", "finger flexors"),
        new("finger-extensors", "finger extensors"),
        new("thumb-flexors", "thumb flexors"),
        new("thumb-adductors", "thumb adductors"),
        new("shoulder-flexion", "shoulder flexion"),
        new("shoulder-extension", "shoulder extension"),
        new("shoulder-abduction", "shoulder abduction"),
        new("shoulder-external-rotation", "shoulder external rotation"),
        new("elbow-flexion", "elbow flexion"),
        new("elbow-extension", "elbow extension"),
        new("forearm-pronation", "forearm pronation"),
        new("forearm-supination", "forearm supination"),
        new("wrist-flexion", "wrist flexion"),
        new("wrist-extension", "wrist extension"),
        new("finger-flexion", "finger flexion"),
        new("finger-extension", "finger extension"),
        new("finger-abduction", "finger abduction"),
        new("thumb-abduction", "thumb abduction"),
        new("thumb-opposition", "thumb opposition"));

    public static readonly CodeList MeasureStatus = new(Systems.MeasureStatus,
        new("completed", "completed"),
        new("stopped-at-limit", "stopped at the time limit"),
        new("unable", "unable"),
        new("not-attempted", "not attempted"),
        new("refused", "refused"),
        new("not-applicable", "not applicable"),
        new("invalid-trial", "invalid trial"));
}
