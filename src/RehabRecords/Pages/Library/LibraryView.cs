using RehabRecords.Library;

namespace RehabRecords.Pages.Library;

/// <summary>The exercises and templates that were looked for.</summary>
public sealed record LibraryView(string Find, IReadOnlyList<LibraryLine> Exercises, IReadOnlyList<TemplateAnswer> Templates, int All);

public sealed record LibraryLine(string Code, string Title, string? Purpose, string? Position, string? Role, int Versions);

/// <summary>One exercise with every version of it, the newest first.</summary>
public sealed record ExerciseView(string Code, string Title, IReadOnlyList<ExerciseVersion> Versions, IReadOnlyList<TemplateUse> Templates, IReadOnlyList<ProgrammeUse> Programmes, int MoreProgrammes);

/// <param name="Pictures">As data addresses, with their words.</param>
/// <param name="LeftOut">Pictures that are not shown, and why.</param>
public sealed record ExerciseVersion(ExerciseAnswer Exercise, DateOnly? Added, IReadOnlyList<(string Source, string Words)> Pictures, IReadOnlyList<string> LeftOut);

public sealed record TemplateUse(string Template, string Title, string Levels);

public sealed record ProgrammeUse(string Id, string Title, string Version, bool Draft);

/// <summary>One template with every version of it, the newest first.</summary>
public sealed record TemplateView(string Code, string Title, IReadOnlyList<TemplateAnswer> Versions, IReadOnlyDictionary<string, ExerciseAnswer> Exercises);
