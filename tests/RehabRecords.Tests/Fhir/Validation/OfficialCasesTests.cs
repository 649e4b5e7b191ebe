using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Validation;
using RehabRecords.Tests.Fhir.Definitions;
using Xunit.Abstractions;

namespace RehabRecords.Tests.Fhir.Validation;

/// <summary>
/// Cases of github FHIR/fhir-test-cases (validator, R4), read from a folder fhir-test-cases in the folder REHAB_SHARED or
/// in ../shared beside the checkout. Compared is whether there is an error, as the cases' manifest says, and whether it is
/// the one the case was made for (<see cref="OfficialReasons"/>).
/// </summary>
public class OfficialCasesTests(ITestOutputHelper output)
{
    // The official run of this case has the security checks off, which for the same content pat-security-bad-string.json has on.
    private static readonly HashSet<string> WithoutSecurityChecks = ["pat-security-good2.json"];

    // Extensions without a published definition are no error of R4 itself; refusing them is a rule of this record.
    private static readonly Lazy<ResourceValidator> BaseRules =
        new(() => ResourceValidator.Create(SharedDefinitions.Pack, new ValidationRules { RefuseUnknownExtensions = false }));

    private static readonly Lazy<ResourceValidator> BaseRulesWithoutSecurity =
        new(() => ResourceValidator.Create(SharedDefinitions.Pack, new ValidationRules { RefuseUnknownExtensions = false, RefuseMarkupInText = false }));

    // What is not refused, and why.
    private static readonly Dictionary<string, string> NotRefused = new(StringComparer.Ordinal)
    {
        ["observation-bad-profile.xml"] = "A profile whose differential contradicts its base. Profiles come in by the build only, which makes their snapshots and would fail.",
    };

    // What we refuse although it is good, and why.
    private static readonly Dictionary<string, string> FalseAlarms = new(StringComparer.Ordinal)
    {
        ["binary-ref-internal.xml"] = "The profile validator does not count a picture of the narrative as a reference to the contained resource (dom-3).",
        ["params-empty.json"] = "Parameters without any element: the reader holds that every object has content.",
    };

    [Fact]
    public void Every_good_case_is_accepted() => Run("accept", expectErrors: false, []);

    [Fact]
    public void Every_bad_case_is_refused() => Run("reject", expectErrors: true, []);

    [Fact]
    public void Bad_cases_that_the_profile_validator_misses_are_refused_but_for_those_listed() => Run("reject-needs-own-check", expectErrors: true, NotRefused.Keys);

    [Fact]
    public void Good_cases_that_raise_a_false_alarm_are_those_listed() => Run("accept-known-false-alarm", expectErrors: false, FalseAlarms.Keys);

    private static IReadOnlyList<Issue> Errors(string file)
    {
        var name = Path.GetFileName(file);
        try
        {
            var resource = ResourceReader.Read(File.ReadAllBytes(file), name.EndsWith(".xml", StringComparison.Ordinal) ? FhirFormat.Xml : FhirFormat.Json);
            var validator = WithoutSecurityChecks.Contains(name) ? BaseRulesWithoutSecurity.Value : BaseRules.Value;
            return [.. validator.Validate(resource).Where(i => i.Refuses)];
        }
        catch (RefusedException e)
        {
            return e.Issues;
        }
    }

    private void Run(string folder, bool expectErrors, IEnumerable<string> exceptions)
    {
        if (Folder() is not { } root)
        {
            output.WriteLine("Not run: there is no fhir-test-cases folder in REHAB_SHARED or in ../shared beside the checkout.");
            return;
        }

        var listed = exceptions.ToHashSet(StringComparer.Ordinal);
        var wrong = new List<string>();
        var files = Directory.EnumerateFiles(Path.Combine(root, folder)).Order(StringComparer.Ordinal).ToList();
        foreach (var file in files)
        {
            var name = Path.GetFileName(file);
            var errors = Errors(file);
            output.WriteLine($"{name}: {(errors.Count == 0 ? "accepted" : string.Join(" | ", errors.Select(e => $"{e.Code} {e.Expression}: {e.Message}")))}");
            var agrees = expectErrors == errors.Count > 0;
            if (expectErrors && agrees && !OfficialReasons.Fits(name, errors))
                wrong.Add($"{name} is refused, but not for its reason: {string.Join(" | ", errors.Select(e => $"{e.Code} {e.Expression}: {e.Message}"))}");
            if (agrees == listed.Contains(name))
                wrong.Add(agrees ? $"{name} is listed as an exception, but no longer is one" : $"{name}: {string.Join(" | ", errors)}");
        }

        output.WriteLine($"{files.Count} cases in {folder}, {listed.Count} listed exceptions, {wrong.Count} wrong");
        Assert.NotEmpty(files);
        Assert.True(wrong.Count == 0, string.Join(Environment.NewLine, wrong));
    }

    private static string? Folder()
    {
        var shared = Environment.GetEnvironmentVariable("REHAB_SHARED") ?? Path.Combine(Repository.Root, "..", "shared");
        var cases = Path.Combine(shared, "fhir-test-cases");
        return Directory.Exists(cases) ? cases : null;
    }
}
