using System.Globalization;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Programmes;

/// <summary>
/// Writes a draft programme anew, all of it in one transaction. Nobody has practised under a draft, so what stays of it is
/// changed in place: an exercise by its version and side, a goal by its words. What the request no longer has is kept as
/// entered in error, never erased.
/// </summary>
public sealed class RewriteDraft(RecordStore store, Recording recording, TimeProvider clock, Host.Settings settings)
{
    /// <param name="ifMatch">The version of the programme the change was made from: of two who write at once the second is refused.</param>
    /// <exception cref="RefusedException">NotFound; VersionNotNamed or StaleVersion; Conflict when it is no draft; Invalid.</exception>
    public Task<IResult> RunAsync(HttpContext http, string id, string? ifMatch, Posted<ProgrammeRequest> posted, CancellationToken ct) => recording.OnceAsync(posted.Key, async (set, cancel) =>
    {
        var (programme, version) = await OpenAsync(id, ifMatch, http, cancel);
        var request = posted.Body;
        if (request.Status is not (null or ProgrammeRequest.Draft))
            throw Missing.Bad("status", $"status is '{request.Status}'; a draft that is written anew stays a draft. Leave status out, and hand the programme over by POST /api/programmes/{id}/activation.");
        if (Rules.Bare(request.Person!, "Patient") is var person && programme.Subject.Reference != $"Patient/{person}")
            throw Missing.Bad("person", $"person is '{Rules.Shown(person)}', and the draft is {programme.Subject.Reference}'s; give that one, or write a new programme for the other person.");
        var design = await ProgrammeDesign.ReadAsync(store, request, cancel);
        if (request.Author is { } author)
            programme.Author = await author.ReferenceAsync(store, set, cancel);
        design.Describe(programme, settings.TimeZone);
        var requests = await PrescribeAsync(set, programme, design, cancel);
        var goals = await AimAsync(set, programme, design, cancel);
        ProgrammeDesign.List(programme, requests, goals);
        programme.Text = ProgrammeWords.Of(programme, requests, goals);
        set.Update(programme, version);
        if (request.BriefingRequired && !await Briefings.Brief.IsAskedForAsync(store, id, cancel))
            set.Create(Briefings.BriefingMapping.ToBrief(programme, clock.GetUtcNow()));
        http.Response.Headers.ETag = VersionTag.Of(version + 1);
        return new Recorded<ProgrammeAnswer>(StatusCodes.Status200OK, "", ProgrammeAnswer.Of(programme, requests, goals));
    }, ct, Clinician.Tries);

    private async Task<(CarePlan Programme, int Version)> OpenAsync(string id, string? ifMatch, HttpContext http, CancellationToken ct)
    {
        var (programme, version) = await store.RoutedAsync<CarePlan>(id, "programme", ct);
        if (programme.Status != RequestStatus.Draft)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"Programme '{id}' is {programme.StatusElement?.JsonValue}, not draft; only a draft is written anew. Change it from a day on by POST /api/programmes/{id}/revisions.", "id");
        http.Response.Headers.ETag = VersionTag.Of(version);
        VersionTag.Require((await store.ReadAsync("CarePlan", id, ct))!, ifMatch, "If-Match");
        return (programme, version);
    }

    private async Task<List<ServiceRequest>> PrescribeAsync(WriteSet set, CarePlan programme, ProgrammeDesign design, CancellationToken ct)
    {
        var before = (await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{programme.Id}", ct)).Where(r => r.Status == RequestStatus.Draft).ToList();
        var now = clock.GetUtcNow();
        var requests = new List<ServiceRequest>();
        foreach (var prescribed in design.Prescribed)
        {
            var request = prescribed.ToServiceRequest(programme, design.Start, design.End, now);
            var same = before.Find(r => r.InstantiatesCanonical.SequenceEqual(request.InstantiatesCanonical) && Sides.Of(r.BodySite.FirstOrDefault()) == prescribed.Side);
            requests.Add(same is null ? set.Create(request) : Keep(set, before, same, request));
        }

        foreach (var gone in before)
        {
            gone.Status = RequestStatus.EnteredInError;
            set.Update(gone, VersionOf(gone));
        }

        return requests;
    }

    private async Task<List<Goal>> AimAsync(WriteSet set, CarePlan programme, ProgrammeDesign design, CancellationToken ct)
    {
        var before = await ProgrammeEndpoints.GoalsAsync(programme, store, ct);
        var goals = new List<Goal>();
        foreach (var wanted in design.Request.Goals ?? [])
        {
            var goal = wanted.ToGoal(design.Person, design.Start);
            var same = before.Find(g => g.Description?.Text == wanted.Description);
            goals.Add(same is null ? set.Create(goal) : Keep(set, before, same, goal));
        }

        foreach (var gone in before)
        {
            gone.LifecycleStatus = Goal.GoalLifecycleStatus.EnteredInError;
            set.Update(gone, VersionOf(gone));
        }

        return goals;
    }

    private static T Keep<T>(WriteSet set, List<T> before, T old, T anew)
        where T : Resource
    {
        before.Remove(old);
        anew.Id = old.Id;
        return set.Update(anew, VersionOf(old));
    }

    private static int VersionOf(Resource resource) => int.Parse(resource.Meta!.VersionId!, CultureInfo.InvariantCulture);
}
