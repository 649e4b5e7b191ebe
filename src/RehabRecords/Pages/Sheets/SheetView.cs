using RehabRecords.Host;

namespace RehabRecords.Pages.Sheets;

/// <summary>A programme as it is handed to the person at home: plain words, nothing of the clinic's record but what practice needs.</summary>
public sealed record SheetView(string Person, string Title, string From, string? To, int PainLimit, ClinicSetting Clinic)
{
    public bool Large { get; init; }

    public SheetPaper Paper { get; init; }

    /// <summary>Not handed over yet: the sheet says so on every page.</summary>
    public bool Draft { get; init; }

    public bool OnHold { get; init; }

    public string? Carer { get; init; }

    /// <summary>How often, where all exercises have the same days; otherwise each exercise says its own.</summary>
    public string? Often { get; init; }

    public IReadOnlyList<SheetExercise> Exercises { get; init; } = [];

    /// <summary>Cautions that hold for this person, each once, for the carer's page.</summary>
    public IReadOnlyList<string> TakeCare { get; init; } = [];

    public IReadOnlyList<string> EmergencySigns { get; init; } = [];

    public IReadOnlyList<string> StopSigns { get; init; } = [];

    /// <summary>QR code of the clinic's own address as SVG; null when none is set.</summary>
    public string? Code { get; init; }

    /// <summary>School years of the words by the Automated Readability Index; null when there is too little text.</summary>
    public double? Grade { get; init; }
}

public enum SheetPaper
{
    A4,
    Letter,
}

/// <summary>One exercise on the sheet, in the order in which a person needs it.</summary>
public sealed record SheetExercise(string Id, string Title)
{
    public string? Purpose { get; init; }

    public string? Own { get; init; }

    public IReadOnlyList<string> Need { get; init; } = [];

    public string? Position { get; init; }

    public required string Hand { get; init; }

    public string? Help { get; init; }

    public string? Steps { get; init; }

    public required string Amount { get; init; }

    public string? Often { get; init; }

    public string? Counts { get; init; }

    public IReadOnlyList<string> Easier { get; init; } = [];

    public IReadOnlyList<string> Harder { get; init; } = [];

    public IReadOnlyList<string> StopIf { get; init; } = [];

    public IReadOnlyList<string> TakeCare { get; init; } = [];

    /// <summary>Pictures the clinic supplied, as data addresses, with their words.</summary>
    public IReadOnlyList<(string Source, string Words)> Pictures { get; init; } = [];

    public bool WarmUp { get; init; }
}
