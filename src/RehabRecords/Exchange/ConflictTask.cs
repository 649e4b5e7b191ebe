using Hl7.Fhir.Model;
using RehabRecords.Briefings;
using RehabRecords.Fhir.Store;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Exchange;

/// <summary>Asks a clinician to choose where something was changed here and there, and keeps what was chosen.</summary>
internal static class ConflictTask
{
    private const string InConflict = "In conflict, their version", Waiting = "Waits, their version", Differing = "What differs", Original = "The document as it came in", Chosen = "Chosen";

    /// <summary>The same conflict is the same task, however often it comes in.</summary>
    public static string IdOf(IncomingBundle incoming, IEnumerable<Step> steps) =>
        Origin.Named($"conflict\n{incoming.Sender}\n{string.Join('\n', steps.Where(s => s.Fate is Fate.Conflict).Select(s => s.Entry.Source).Order(StringComparer.Ordinal))}");

    public static FhirTask Of(string id, IncomingBundle incoming, IReadOnlyList<Step> steps, string original, DateTimeOffset now)
    {
        var conflicts = steps.Where(s => s.Fate == Fate.Conflict).ToList();
        var about = conflicts.Find(s => s.Entry.Resource is CarePlan) ?? conflicts[0];
        var person = steps.Single(s => s.Entry.Resource is Patient);
        var task = new FhirTask
        {
            Id = id,
            Status = FhirTask.TaskStatus.Requested,
            Intent = FhirTask.TaskIntent.Order,
            Code = CodeLists.WorkItem.Concept(WorkItem.ExchangeConflict),
            Description = $"Decide between ours and what {incoming.Sender} sent.",
            Focus = about.Twin.Here is null ? null : new ResourceReference($"{about.Entry.Type}/{about.Twin.Id}"),
            For = new ResourceReference($"Patient/{person.Twin.Id}"),
            AuthoredOnElement = new FhirDateTime(now),
            LastModifiedElement = new FhirDateTime(now),
            Text = Readable.Of([
                $"To decide: {conflicts.Count} {(conflicts.Count == 1 ? "thing was" : "things were")} changed here and at {incoming.Sender}. Nothing of ours was written over.",
                .. conflicts.Select(Words),
                steps.Count(s => s.Fate == Fate.Waits) is > 0 and var waiting ? $"{waiting} more {(waiting == 1 ? "waits" : "wait")} for the decision." : null]),
        };
        foreach (var step in conflicts)
        {
            Put(InConflict, new FhirUri(step.Entry.Source));
            Put(Differing, new FhirString(Words(step)));
        }

        foreach (var step in steps.Where(s => s.Fate == Fate.Waits))
            Put(Waiting, new FhirUri(step.Entry.Source));
        Put(Original, new ResourceReference(original));
        return task;

        void Put(string kind, DataType value) => task.Input.Add(new FhirTask.ParameterComponent { Type = new CodeableConcept { Text = kind }, Value = value });
    }

    /// <summary>Whether it asks for a choice; without the document that came in there is nothing to choose from.</summary>
    public static bool IsOne(FhirTask task) => task.Is(WorkItem.ExchangeConflict) && task.Input.Exists(i => i.Type.Text == Original);

    public static void Close(this FhirTask task, string choice, string reason, ResourceReference by, DateTimeOffset now)
    {
        task.Status = FhirTask.TaskStatus.Completed;
        task.LastModifiedElement = new FhirDateTime(now);
        task.Owner = by;
        task.Output.Add(new FhirTask.OutputComponent { Type = new CodeableConcept { Text = Chosen }, Value = new FhirString(choice) });
        task.Text = Readable.Of([.. Narratives.Lines(task), PlainWords.Sentence($"Decided on {now:d MMMM yyyy} by {by.Display}: {choice}, because: {reason}")]);
    }

    public static void Supersede(this FhirTask task, DateTimeOffset now)
    {
        task.Status = FhirTask.TaskStatus.Cancelled;
        task.LastModifiedElement = new FhirDateTime(now);
        task.Text = Readable.Of([.. Narratives.Lines(task), "A later version came in; it is decided there."]);
    }

    /// <summary>The address under which the first of their versions lies.</summary>
    public static string SenderOf(FhirTask task) => task.Input.Where(i => i.Type.Text == InConflict).Select(i => (i.Value as FhirUri)?.Value).OfType<string>().FirstOrDefault() ?? "";

    public static string OriginalOf(FhirTask task) =>
        task.Input.Where(i => i.Type.Text == Original).Select(i => (i.Value as ResourceReference).IdOf("Binary")).FirstOrDefault() ?? throw new FormatException($"Task/{task.Id} does not name what came in.");

    public static string? ChoiceOf(FhirTask task) => task.Output.Where(o => o.Type.Text == Chosen).Select(o => (o.Value as FhirString)?.Value).FirstOrDefault();

    public static IReadOnlyList<string> Texts(FhirTask task) => [.. task.Input.Where(i => i.Type.Text == Differing).Select(i => (i.Value as FhirString)?.Value).OfType<string>()];

    public static IReadOnlyList<string> WaitingIn(FhirTask task) => [.. task.Input.Where(i => i.Type.Text == Waiting).Select(i => (i.Value as FhirUri)?.Value).OfType<string>()];

    /// <summary>Versions of theirs about which it was decided to keep ours; they need not be decided again.</summary>
    public static async Task<HashSet<string>> SettledAsync(RecordStore store, IReadOnlyCollection<string> people, CancellationToken ct)
    {
        var settled = new HashSet<string>(StringComparer.Ordinal);
        foreach (var person in people)
            foreach (var task in await OfAsync(store, person, ct))
                if (task.Status == FhirTask.TaskStatus.Completed && ChoiceOf(task) == ResolutionRequest.Ours)
                    settled.UnionWith(task.Input.Where(i => i.Type.Text is InConflict or Waiting).Select(i => (i.Value as FhirUri)?.Value).OfType<string>());
        return settled;
    }

    public static async Task<IReadOnlyList<FhirTask>> OfAsync(RecordStore store, string person, CancellationToken ct) =>
        [.. (await store.FindAllAsync<FhirTask>($"patient=Patient/{person}", ct)).Where(IsOne)];

    private static string Words(Step step) =>
        $"{step.Entry.Type}/{step.Twin.Id}: {step.Why}{(step.Differs.Count > 0 ? $" Differing: {string.Join(", ", step.Differs)}." : "")}";
}
