using System.Text.Json;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Pages.Caseload;
using RehabRecords.Pages.Sheets;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Pages.Library;

/// <summary>Reads the library as its pages show it.</summary>
internal sealed class LibraryPageReads(RecordStore store)
{
    /// <summary>Programmes that are listed; how many more there are is said.</summary>
    private const int MostProgrammes = 50;

    public async Task<LibraryView> FindAsync(string? find, CancellationToken ct)
    {
        var words = FoldedText.Of(find ?? "").Split(' ', StringSplitOptions.RemoveEmptyEntries);
        bool Fits(params IEnumerable<string?> texts)
        {
            var text = FoldedText.Of(string.Join(' ', texts));
            return Array.TrueForAll(words, w => text.Contains(w, StringComparison.Ordinal));
        }

        var exercises = (await ExercisesAsync(ct)).Select(d => d.ToAnswer()).ToList();
        var counts = exercises.CountBy(e => LibraryVersions.CodeOf(e.Exercise)).ToDictionary();
        var templates = (await TemplatesAsync(ct)).Select(t => t.ToAnswer()).ToList();
        return new LibraryView(
            find?.Trim() ?? "",
            [.. LibraryVersions.Latest(exercises, e => e.Exercise)
                .Where(e => Fits([e.Title, e.Purpose, e.Instructions, e.Code, .. e.Equipment.SelectMany(q => new[] { q.Item, q.HouseholdAlternative }), .. e.Cautions.Select(c => c.Text)]))
                .OrderBy(e => e.Title, StringComparer.OrdinalIgnoreCase)
                .Select(e => new LibraryLine(
                    LibraryVersions.CodeOf(e.Exercise), e.Title ?? e.Exercise, e.Purpose, e.Position is null ? null : CodeLists.Position.Words(e.Position), e.Role, counts[LibraryVersions.CodeOf(e.Exercise)]))],
            [.. LibraryVersions.Latest(templates, t => t.Template).Where(t => Fits([t.Title, t.Description, t.Template, .. t.Levels.Select(l => l.Title)])).OrderBy(t => t.Title, StringComparer.OrdinalIgnoreCase)],
            counts.Count);
    }

    /// <exception cref="RefusedException">NotFound.</exception>
    public async Task<ExerciseView> ExerciseAsync(string code, CancellationToken ct)
    {
        var versions = LibraryVersions.NewestFirst((await ExercisesAsync(ct)).Where(d => d.Code.CodeIn(Systems.Exercise) == code), d => $"{code}|{d.Version}").ToList();
        if (versions.Count == 0)
            throw Unknown("exercise", code);
        var templates = from template in LibraryVersions.Latest((await TemplatesAsync(ct)).Select(t => t.ToAnswer()), t => t.Template)
                        let levels = template.Levels.Where(l => l.Exercises!.Any(e => LibraryVersions.CodeOf(e.Exercise!) == code)).Select(l => l.Level).ToList()
                        where levels.Count > 0
                        select new TemplateUse(LibraryVersions.CodeOf(template.Template), template.Title ?? template.Template, $"{(levels.Count == 1 ? "level" : "levels")} {string.Join(", ", levels)}");
        var programmes = await ProgrammesAsync(code, ct);
        return new ExerciseView(
            code, versions[0].Title ?? code, [.. versions.Select(Version)], [.. templates.OrderBy(t => t.Title, StringComparer.OrdinalIgnoreCase)],
            [.. programmes.Take(MostProgrammes)], Math.Max(0, programmes.Count - MostProgrammes));
    }

    /// <exception cref="RefusedException">NotFound.</exception>
    public async Task<TemplateView> TemplateAsync(string code, CancellationToken ct)
    {
        var versions = LibraryVersions.NewestFirst((await TemplatesAsync(ct)).Select(t => t.ToAnswer()).Where(t => LibraryVersions.CodeOf(t.Template) == code), t => t.Template).ToList();
        return versions.Count == 0
            ? throw Unknown("template", code)
            : new TemplateView(code, versions[0].Title ?? code, versions, (await ExercisesAsync(ct)).Select(d => d.ToAnswer()).DistinctBy(e => e.Exercise).ToDictionary(e => e.Exercise, StringComparer.Ordinal));
    }

    private static ExerciseVersion Version(ActivityDefinition definition) => new(
        definition.ToAnswer(),
        definition.Meta?.LastUpdated is { } at ? DateOnly.FromDateTime(at.UtcDateTime) : null,
        [.. SheetReads.PicturesOf(definition)],
        [.. definition.RelatedArtifact.Select(a => a.Document).OfType<Attachment>().Except(SheetReads.ShownOf(definition))
            .Select(d => $"{d.Title ?? "A picture"}: {(d.Data is null ? $"lies elsewhere ({d.Url}) and is not fetched" : "is too large or of a kind that is not shown")}")]);

    /// <summary>Drafts and what is in force; whole resources are not parsed, because a common exercise is prescribed often.</summary>
    private async Task<List<ProgrammeUse>> ProgrammesAsync(string code, CancellationToken ct)
    {
        var uses = new List<ProgrammeUse>();
        foreach (var found in await store.FindAsync("ServiceRequest", $"code={Uri.EscapeDataString($"{Systems.Exercise}|{code}")}", ct))
        {
            using var json = JsonDocument.Parse(found.Json);
            var root = json.RootElement;
            if (root.Text("status") is not ("active" or "draft") || root.First("basedOn")?.Text("reference") is not { } reference || !reference.StartsWith("CarePlan/", StringComparison.Ordinal))
                continue;
            var version = root.Child("instantiatesCanonical") is { ValueKind: JsonValueKind.Array } canonicals && canonicals.GetArrayLength() > 0
                ? canonicals[0].GetString()?.Split('|').ElementAtOrDefault(1) : null;
            uses.Add(new ProgrammeUse(reference["CarePlan/".Length..], "", version ?? "", root.Text("status") == "draft"));
        }

        var first = uses.DistinctBy(u => u.Id).ToList();
        for (var i = 0; i < Math.Min(MostProgrammes, first.Count); i++)
            if (await store.ReadAsync("CarePlan", first[i].Id, ct) is { Deleted: false } plan)
            {
                using var json = JsonDocument.Parse(plan.Json);
                first[i] = first[i] with { Title = json.RootElement.Text("title") ?? "Programme" };
            }

        return first;
    }

    private async Task<IEnumerable<ActivityDefinition>> ExercisesAsync(CancellationToken ct) => (await store.FindAllAsync<ActivityDefinition>("", ct)).Where(LibraryEndpoints.IsOurs);

    private async Task<IEnumerable<PlanDefinition>> TemplatesAsync(CancellationToken ct) => (await store.FindAllAsync<PlanDefinition>("", ct)).Where(LibraryEndpoints.IsOurs);

    private static RefusedException Unknown(string what, string code) => new(
        Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no {what} '{Rules.Shown(code)}' in the library; look for it by a word at /library.", "code");
}
