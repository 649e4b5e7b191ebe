using System.Security.Cryptography;
using System.Text;
using System.Text.RegularExpressions;

namespace RehabRecords.Notes;

/// <summary>The parts of a document: of a progress note the first four, of a discharge summary the others; in the order they are read.</summary>
public enum NoteSection
{
    Subjective,
    Objective,
    Assessment,
    Plan,
    PatientDemographics,
    GpPractice,
    ReferrerDetails,
    AdmissionDetails,
    DischargeDetails,
    Diagnoses,
    ClinicalSummary,
    AssessmentScales,
    Procedures,
    InvestigationResults,
    Devices,
    Allergies,
    SafetyAlerts,
    LegalInformation,
    SocialContext,
    IndividualRequirements,
    ResearchParticipation,
    Concerns,
    InformationGiven,
    PlanAndActions,
    PersonCompleting,
    DistributionList,
}

/// <summary>A number a statement gives, with its UCUM unit, so that it can be read without parsing the sentence.</summary>
public sealed record StatedValue(decimal Number, string Unit);

/// <summary>
/// One sentence of a note. It comes from a documented rule and rests on evidence: there is no way to make one without
/// either, since only <see cref="NoteRule.State"/> makes statements and <see cref="Evidence"/> is never empty.
/// </summary>
public sealed record Statement
{
    internal Statement(string id, NoteRule rule, string text, Evidence evidence, IReadOnlyList<StatedValue> values)
    {
        ArgumentException.ThrowIfNullOrWhiteSpace(id);
        ArgumentException.ThrowIfNullOrWhiteSpace(text);
        ArgumentNullException.ThrowIfNull(evidence);
        (Id, Rule, Section, Text, Evidence, Values) = (id, rule, rule.Section, text, evidence, values);
    }

    /// <summary>
    /// The same for the same thing in every version of a note: the rule and what it speaks of. It is the Element.id of the
    /// statement's section.
    /// </summary>
    public string Id { get; }

    public NoteRule Rule { get; }

    /// <summary>Where it stands: that of its rule, unless another document says the same under a heading of its own.</summary>
    public NoteSection Section { get; init; }

    /// <summary>A code of <see cref="Terms.StatementKind"/>.</summary>
    public string Kind => Rule.Kind;

    public string Text { get; }

    public Evidence Evidence { get; }

    public IReadOnlyList<StatedValue> Values { get; }

    /// <summary>The same under a heading of another document; where that speaks of several programmes, with what tells them apart.</summary>
    internal Statement Under(NoteSection section, string of = "", string lead = "") =>
        new(of.Length == 0 ? Id : NoteRule.ElementId($"{Id}.{of}"), Rule, lead + Text, Evidence, Values) { Section = section };
}

/// <summary>Why and when a sentence is written. docs/note-rules.md lists every rule; a test holds the two together.</summary>
/// <param name="Id">Code in the code system note-rule.</param>
/// <param name="Pattern">The sentence, with what varies in braces.</param>
/// <param name="When">The condition in plain words.</param>
/// <param name="Source">Where the rule comes from, with its provenance mark.</param>
public sealed partial record NoteRule(string Id, NoteSection Section, string Kind, string Pattern, string When, string Source)
{
    /// <summary>The rule in words; its display in the code system note-rule.</summary>
    public string Title => Wording.Capital(Id.Replace('-', ' '));

    /// <param name="subject">What the sentence speaks of, so that one rule can speak of several things; empty for the whole programme.</param>
    public Statement State(string subject, string text, Evidence evidence, params IReadOnlyList<StatedValue> values) =>
        new(ElementId(subject.Length == 0 ? Id : $"{Id}.{subject}"), this, text, evidence, values);

    /// <summary>
    /// An Element.id holds no white space, and readers of other versions of FHIR take 64 letters, digits, hyphens and full
    /// stops at most. What does not fit keeps its beginning and is told apart by a hash of the whole.
    /// </summary>
    internal static string ElementId(string wanted)
    {
        if (wanted.Length <= MostIdLetters && !NotOfAnId().IsMatch(wanted))
            return wanted;
        var hash = Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(wanted)).AsSpan(0, 8));
        var beginning = NotOfAnId().Replace(wanted, "-");
        return $"{beginning[..Math.Min(beginning.Length, MostIdLetters - hash.Length - 1)]}.{hash}";
    }

    private const int MostIdLetters = 64;

    [GeneratedRegex("[^A-Za-z0-9.-]")]
    private static partial Regex NotOfAnId();
}
