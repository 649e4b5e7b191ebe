using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;
using RehabRecords.Trade;
using Canonical = RehabRecords.Terms.Canonical;
using FhirTask = Hl7.Fhir.Model.Task;

namespace RehabRecords.HomeLinks;

/// <summary>A link as it stands, without the address: nobody can read that again.</summary>
public sealed record HomeLinkView
{
    public required string Id { get; init; }

    /// <summary>Address under /fhir/.</summary>
    public required string Task { get; init; }

    public string? Programme { get; init; }

    /// <summary>patient or carer.</summary>
    public string? For { get; init; }

    public string? From { get; init; }

    public string? ValidUntil { get; init; }

    /// <summary>working, expired or revoked.</summary>
    public required string State { get; init; }

    public string? By { get; init; }

    public DateTimeOffset? MadeAt { get; init; }

    /// <summary>Why it was revoked.</summary>
    public string? Reason { get; init; }
}

/// <summary>Between a link and the Task that holds it.</summary>
internal static class HomeLinkTask
{
    public const string Working = "working", Expired = "expired", Revoked = "revoked";

    public static readonly string IdentifierSystem = Canonical.Identifier("home-link");

    public static bool IsHomeLink(this FhirTask task) => task.Code.CodeIn(Systems.HomeLink) is not null;

    public static FhirTask ToTask(this HomeLinkRequest request, CarePlan programme, string hash, ResourceReference owner, ResourceReference by, DateOnly today, DateTimeOffset now)
    {
        var words = CodeLists.HomeLink.Words(request.For!);
        var task = new FhirTask
        {
            Identifier = [new Identifier(IdentifierSystem, hash)],
            Status = FhirTask.TaskStatus.InProgress,
            Intent = FhirTask.TaskIntent.Order,
            Code = CodeLists.HomeLink.Concept(request.For!),
            Description = $"Link for {words}",
            Focus = new ResourceReference($"CarePlan/{programme.Id}", programme.Title),
            For = new ResourceReference(programme.Subject.Reference),
            AuthoredOnElement = new FhirDateTime(now),
            Requester = (ResourceReference)by.DeepCopy(),
            Owner = owner,
            Restriction = new FhirTask.RestrictionComponent { Period = new Period { Start = Timings.Iso(today), End = Timings.Iso(request.ValidUntil!.Value) } },
            Text = Readable.Of($"Link for {words}, from {today:d MMMM yyyy} to {request.ValidUntil:d MMMM yyyy}.", $"Handed out by {by.Display}."),
        };
        task.Profiled(Profiles.HomeLink);
        return task;
    }

    public static HomeLinkView ToView(this FhirTask task, DateOnly today) => new()
    {
        Id = task.Id!,
        Task = $"Task/{task.Id}",
        Programme = task.Focus?.Reference,
        For = task.Code.CodeIn(Systems.HomeLink),
        From = task.Restriction?.Period?.Start,
        ValidUntil = task.Restriction?.Period?.End,
        State = task.StateOn(today),
        By = task.Requester?.Display,
        MadeAt = Addresses.Instant(task.AuthoredOn),
        Reason = task.StatusReason?.Text,
    };

    public static string StateOn(this FhirTask task, DateOnly today) =>
        task.Status != FhirTask.TaskStatus.InProgress ? Revoked
        : Addresses.Day(task.Restriction?.Period?.End) is { } last && last >= today ? Working : Expired;

    /// <summary>The programme's zone decides when a day ends.</summary>
    public static string ZoneOf(CarePlan programme, Host.Settings settings) => programme.GetExtensionValue<Code>(Extensions.TimeZone)?.Value ?? settings.TimeZone;

    /// <exception cref="RefusedException">A day that has gone by, or one too far away.</exception>
    public static void RefuseDay(DateOnly validUntil, DateOnly today)
    {
        var most = today.AddDays(HomeLinkRequest.MostDays);
        if (validUntil < today || validUntil > most)
            throw Missing.Bad("validUntil", $"validUntil is {validUntil:yyyy-MM-dd}; give a day from {today:yyyy-MM-dd} (today) to {most:yyyy-MM-dd} (12 weeks from today). A link can be replaced by a new one when its time is up.");
    }
}
