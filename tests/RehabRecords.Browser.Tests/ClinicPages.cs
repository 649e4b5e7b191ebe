namespace RehabRecords.Browser.Tests;

/// <summary>A page that every check walks and that docs/pages shows.</summary>
/// <param name="Name">Of the page, its picture and its tests.</param>
/// <param name="Caption">What the page is for, in a sentence.</param>
/// <param name="Address">Where it is, in the demo's clinic.</param>
public sealed record ClinicPage(string Name, string Caption, Func<ServedClinic, string> Address)
{
    public int Status { get; init; } = 200;

    /// <summary>As somebody sees it who has said who is working.</summary>
    public bool Working { get; init; }

    /// <summary>Pictures are made at this width; 360 shows the page as on a telephone.</summary>
    public int PictureWidth { get; init; } = 900;

    /// <summary>Pages that differ from another only in whose they are need no picture.</summary>
    public bool Pictured { get; init; } = true;

    public override string ToString() => Name;
}

/// <summary>Every page there is. A new page joins all checks and docs/pages by its line here.</summary>
public static class ClinicPages
{
    public static readonly IReadOnlyList<ClinicPage> All =
    [
        new("caseload", "Who needs attention and why, the most urgent first.", _ => "/caseload"),
        new("caseload-phone", "The same on a telephone.", _ => "/caseload?order=name") { PictureWidth = 360 },
        new("caseload-filtered", "The caseload, of those with a red flag only.", _ => "/caseload?why=red-flag&order=name"),
        new("caseload-nobody", "A search that finds nobody.", _ => "/caseload?find=nobody%20of%20this%20name") { Pictured = false },
        new("person", "Practice day by day, dose, each measure against its error, goals, notes, precautions and the programme in force.", c => $"/people/{c.Person("ada-sampleton")}"),
        .. from name in new[] { "bram-inventley", "cora-fictionby", "dev-madeup", "elin-notreal", "farid-exampleton", "greta-pastmade" }
           select new ClinicPage($"person-{name}", $"The page of another person: {name}.", c => $"/people/{c.Person(name)}") { Pictured = false },
        new("review", "A drafted note to read, correct and sign: urgent things first, each statement with what it rests on.", c => c.NotePage("dev-madeup")) { Working = true },
        new("review-nobody", "The same while nobody has said who is working.", c => c.NotePage("ada-sampleton")) { Pictured = false },
        new("note-versions", "The versions of a note and what changed between them.", c => c.NotePage("ada-sampleton") + "/versions"),
        new("flag", "A red flag, with what raised it, to be cleared with a reason.", c => $"/flags/{c.Flag("dev-madeup")}") { Working = true },
        new("you", "Who is working.", _ => "/you"),
        new("note", "A drafted note as a document: urgent things first, each statement with its sources.", c => c.Note("dev-madeup")),
        new("note-ada", "The note of another person.", c => c.Note("ada-sampleton")) { Pictured = false },
        new("discharge", "A discharge summary as drafted.", c => c.Discharge("greta-pastmade")),
        new("discharge-form", "What only a person knows of a discharge; what stands in the way comes first.", c => $"/people/{c.Person("greta-pastmade")}/discharge") { Working = true },
        new("discharge-form-new", "The same for somebody nothing was stated of yet.", c => $"/people/{c.Person("dev-madeup")}/discharge") { Working = true, Pictured = false },
        new("discharge-steps", "A discharge on its way: what is done, what comes next.", c => c.Discharge("greta-pastmade").Replace("/api/", "/", StringComparison.Ordinal)) { Working = true },
        new("letter-form", "A letter to the next team: to whom, why, and what is asked.", c => $"/people/{c.Person("ada-sampleton")}/letters/new") { Working = true },
        new("letter", "The letter as drafted, to be read, corrected and signed.", c => c.Letter) { Working = true },
        new("letter-signed", "A signed letter, with what was signed and whether it checks.", c => c.SignedLetter) { Working = true },
        new("links", "Links by which sessions are reported from home.", c => $"/programmes/{c.Programme("ada-sampleton")}/home-links") { Working = true },
        new("received", "What another team sent, in its own words, in a frame that can do nothing.", c => c.Received),
        new("conflict", "What was changed here and by another team, side by side, to be chosen with a reason.", c => c.Conflict) { Working = true },
        new("conflict-nobody", "The same while nobody has said who is working.", c => c.Conflict) { Pictured = false },
        new("task", "Something that somebody is to do, and what became of it.", c => c.OpenTask) { Working = true },
        new("home-sheet", "What goes home: what to look out for first, then one exercise after the other.", c => $"/programmes/{c.Programme("ada-sampleton")}/home-sheet"),
        new("home-sheet-large", "The same in large print.", c => $"/programmes/{c.Programme("ada-sampleton")}/home-sheet?size=large&paper=letter") { Pictured = false },
        new("diary-sheet", "To be filled in by hand: what a session takes, and no more.", c => $"/programmes/{c.Programme("ada-sampleton")}/diary-sheet"),
        new("diary-sheet-large", "The same in large print.", c => $"/programmes/{c.Programme("ada-sampleton")}/diary-sheet?size=large&paper=letter") { Pictured = false },
        new("recording", "What the carer opens from the link: one session, on a telephone, with one thumb.", c => c.HomeLink) { PictureWidth = 360 },
        new("recording-no-link", "A link that does not hold, or no longer.", _ => "/home/none") { Status = 404, Pictured = false },
        new("library-found", "A search of the library.", _ => "/library?find=pegs") { Pictured = false },
        new("programme-new", "A programme begins: what the record proposes for each template, and the levels to choose from.", c => $"/people/{c.Person("ada-sampleton")}/programmes/new"),
        new("desk-draft", "A draft on the desk: what is missing, every part to be tailored, the briefing and the handing over.", c => $"/programmes/{c.Draft}/desk"),
        new("desk-in-force", "A programme in force, with the ways to change it.", c => $"/programmes/{c.Programme("ada-sampleton")}/desk"),
        new("library", "The exercises and templates of the clinic, found by a word.", _ => "/library"),
        new("exercise", "All that an exercise says, and where it is used.", _ => "/library/exercises/clothes-pegs"),
        new("template", "The levels of a template.", _ => "/library/templates/table-top-hand-practice"),
        new("help", "What each word means, in a sentence, with its source.", _ => "/help"),
        new("fault", "What is said when something is not there.", _ => "/people/nobody") { Status = 404 },
        new("fault-route", "An address that there is not.", _ => "/no/such/page") { Status = 404, Pictured = false },
    ];

    /// <summary>For theories: one row for each page.</summary>
    public static TheoryData<string> Names => [.. All.Select(p => p.Name)];

    public static ClinicPage Get(string name) => All.Single(p => p.Name == name);
}
