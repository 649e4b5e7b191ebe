using Hl7.Fhir.Model;
using RehabRecords.Library;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.Briefings;

public sealed record BriefingAnswer
{
    public required string Programme { get; init; }

    /// <summary>not-required, required, given, not-understood or acknowledged.</summary>
    public required string State { get; init; }

    /// <summary>Whether the programme waits for it.</summary>
    public bool OnHold { get; init; }

    public IReadOnlyList<BriefingLine> Briefings { get; init; } = [];
}

public sealed record BriefingLine(
    string Id, string? Carer, string? CarerName, string? Given, string? By, IReadOnlyList<string> Points, string State, string Task, string? AnsweredAt, string? ShownBack);

/// <summary>Between briefings and Communication and Task. R4's Communication cannot hold an acknowledgement, so that is a Task.</summary>
internal static class BriefingMapping
{
    public const string Required = "required", Given = "given", NotUnderstood = "not-understood", Acknowledged = "acknowledged";

    public static bool Is(this FhirTask task, string item) => task.Code.CodeIn(Systems.WorkItem) == item;

    public static bool IsOpen(this FhirTask task) => task.Status is FhirTask.TaskStatus.Requested or FhirTask.TaskStatus.OnHold;

    /// <summary>What is to be done before the programme begins.</summary>
    public static FhirTask ToBrief(CarePlan programme, DateTimeOffset now) => new()
    {
        Status = FhirTask.TaskStatus.Requested,
        Intent = FhirTask.TaskIntent.Order,
        Code = CodeLists.WorkItem.Concept(WorkItem.Briefing),
        Description = "Brief the carer before the programme begins.",
        BasedOn = [new ResourceReference($"CarePlan/{programme.Id}")],
        Focus = new ResourceReference($"CarePlan/{programme.Id}"),
        For = new ResourceReference(programme.Subject.Reference),
        AuthoredOnElement = new FhirDateTime(now),
        LastModifiedElement = new FhirDateTime(now),
        Requester = (ResourceReference?)programme.Author?.DeepCopy(),
        Text = Readable.Of("To do: brief the carer before the programme begins. Until the carer has acknowledged it the programme is on hold."),
    };

    public static Communication ToCommunication(this BriefingRequest request, CarePlan programme, string version, RelatedPerson carer, ResourceReference by, DateTimeOffset now) => new()
    {
        Status = EventStatus.Completed,
        Category = [new CodeableConcept("http://terminology.hl7.org/CodeSystem/communication-category", "instruction")],
        Subject = new ResourceReference(programme.Subject.Reference),
        About = [new ResourceReference($"CarePlan/{programme.Id}/_history/{version}", programme.Title)],
        SentElement = new FhirDateTime(now),
        Recipient = [new ResourceReference($"RelatedPerson/{carer.Id}", NameOf(carer))],
        Sender = (ResourceReference)by.DeepCopy(),
        Payload = [.. request.Points!.Select(p => new Communication.PayloadComponent { Content = new FhirString(p) })],
        Text = Readable.Of([$"{NameOf(carer)} was briefed on {now:d MMMM yyyy} by {by.Display}.", .. request.Points!.Select(PlainWords.Sentence)]),
    };

    public static FhirTask ToAcknowledgement(Communication briefing, CarePlan programme, RelatedPerson carer, DateTimeOffset now) => new()
    {
        Status = FhirTask.TaskStatus.Requested,
        Intent = FhirTask.TaskIntent.Order,
        Code = CodeLists.WorkItem.Concept(WorkItem.BriefingAcknowledgement),
        Description = "Acknowledge the briefing.",
        BasedOn = [new ResourceReference($"CarePlan/{programme.Id}")],
        Focus = new ResourceReference($"Communication/{briefing.Id}"),
        For = new ResourceReference(programme.Subject.Reference),
        AuthoredOnElement = new FhirDateTime(now),
        LastModifiedElement = new FhirDateTime(now),
        Requester = (ResourceReference)briefing.Sender!.DeepCopy(),
        Owner = new ResourceReference($"RelatedPerson/{carer.Id}", NameOf(carer)),
        Text = Readable.Of($"To do: {NameOf(carer)} acknowledges the briefing of {now:d MMMM yyyy}."),
    };

    public static void Answer(this FhirTask task, AcknowledgementRequest answer, ResourceReference? witness, DateTimeOffset now)
    {
        var understood = answer.Understood == true;
        task.Status = understood ? FhirTask.TaskStatus.Completed : FhirTask.TaskStatus.OnHold;
        task.BusinessStatus = new CodeableConcept { Text = understood ? "Understood" : "Not understood: brief again" };
        task.LastModifiedElement = new FhirDateTime(now);
        if (answer.ShownBack is { } shown)
            task.Output.Add(new FhirTask.OutputComponent { Type = new CodeableConcept { Text = "What the carer showed or said back" }, Value = new FhirString(shown) });
        if (witness is not null)
            task.Output.Add(new FhirTask.OutputComponent { Type = new CodeableConcept { Text = "Witness" }, Value = witness });
        task.Text = Readable.Of(
            $"{task.Owner?.Display ?? "The carer"} {(understood ? "understood the briefing" : "did not understand the briefing, and is briefed again")} ({now:d MMMM yyyy}).",
            answer.ShownBack is { } words ? PlainWords.Sentence($"Shown or said back: {words}") : null,
            witness is null ? null : PlainWords.Sentence($"Seen by {witness.Display}"));
    }

    public static BriefingAnswer ToAnswer(CarePlan programme, IReadOnlyCollection<Communication> briefings, IReadOnlyCollection<FhirTask> tasks)
    {
        var lines = (from briefing in briefings.OrderBy(b => b.Sent, StringComparer.Ordinal).ThenBy(b => b.Id, StringComparer.Ordinal)
                     let task = tasks.FirstOrDefault(t => t.Focus.IdOf("Communication") == briefing.Id)
                     where task is not null
                     select new BriefingLine(
                         briefing.Id!, briefing.Recipient.FirstOrDefault()?.Reference, briefing.Recipient.FirstOrDefault()?.Display, briefing.Sent, briefing.Sender?.Display,
                         [.. briefing.Payload.Select(p => (p.Content as FhirString)?.Value).OfType<string>()], StateOf(task), $"Task/{task.Id}",
                         task.Status == FhirTask.TaskStatus.Requested ? null : task.LastModified,
                         task.Output.Select(o => (o.Value as FhirString)?.Value).FirstOrDefault(v => v is not null))).ToList();
        var state = lines.LastOrDefault()?.State ?? (tasks.Any(t => t.Is(WorkItem.Briefing) && t.IsOpen()) ? Required : "not-required");
        return new BriefingAnswer { Programme = $"CarePlan/{programme.Id}", State = state, OnHold = programme.Status == RequestStatus.OnHold, Briefings = lines };
    }

    private static string StateOf(FhirTask task) => task.Status switch
    {
        FhirTask.TaskStatus.Completed => Acknowledged,
        FhirTask.TaskStatus.OnHold => NotUnderstood,
        FhirTask.TaskStatus.Cancelled => "replaced",
        _ => Given,
    };

    private static string NameOf(RelatedPerson carer)
    {
        var name = carer.Name.FirstOrDefault();
        return name?.Text ?? string.Join(' ', (name?.Given ?? []).Append(name?.Family).OfType<string>());
    }
}
