using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using RehabRecords.Clinical;
using RehabRecords.Fhir.Store;
using RehabRecords.Flags;
using RehabRecords.HomeLinks;
using RehabRecords.Host;
using RehabRecords.Library;
using RehabRecords.People;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.Terms;

namespace RehabRecords.Pages.Home;

/// <summary>Reads what the holder of a link may see.</summary>
internal sealed class HomeReads(RecordStore store, Settings settings)
{
    public async Task<HomeView> ViewAsync(OpenedLink link, CancellationToken ct)
    {
        var patient = (await store.GetAsync<Patient>(link.Person, ct))?.Resource;
        var requests = ProgrammeEndpoints.InOrderOfPlan(link.Programme, await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{link.Programme.Id}", ct));
        var over = link.Programme.Status == RequestStatus.Completed;
        return new HomeView(FirstName(patient), link.For, settings.Clinic, link.Programme.GetExtensionValue<Integer>(Extensions.PainLimit)?.Value ?? 0, link.Today)
        {
            Entry = Guid.NewGuid().ToString(),
            OnHold = link.Programme.Status == RequestStatus.OnHold,
            Over = over,
            Exercises = [.. requests.Where(r => r.Status is RequestStatus.Active or RequestStatus.OnHold || (over && r.Status == RequestStatus.Completed))
                .Where(r => (Addresses.Day(Timings.Bounds(r)?.Start) ?? link.Today) <= link.Today).Select(Exercise)],
        };
    }

    /// <summary>By handle, every prescription of the programme: a page that was kept on a phone may show one that was replaced since.</summary>
    public async Task<IReadOnlyDictionary<string, (string Id, string Title)>> PrescriptionsAsync(OpenedLink link, CancellationToken ct) =>
        (await store.FindAllAsync<ServiceRequest>($"based-on=CarePlan/{link.Programme.Id}", ct)).ToDictionary(r => HandleOf(r.Id!), r => (r.Id!, TitleOf(r)), StringComparer.Ordinal);

    /// <summary>The session that was reported under an identifier through this programme's links, or null.</summary>
    public async Task<string?> SessionAsync(OpenedLink link, string entry, CancellationToken ct) =>
        await store.HolderOfAsync("Procedure", HomeEntry.IdentifierSystem, HomeEntry.IdentifierOf(entry), ct) is { } id
        && await store.GetAsync<Procedure>(id, ct) is { Resource: { } session } && session.BasedOn.Any(b => b.Reference == $"CarePlan/{link.Programme.Id}") ? id : null;

    /// <summary>Red flags that a session raised, most urgent first.</summary>
    public async Task<IReadOnlyList<RedFlag>> RaisedAsync(OpenedLink link, string session, CancellationToken ct)
    {
        var results = (await store.FindAllAsync<Observation>($"part-of=Procedure/{session}", ct)).Select(o => $"Observation/{o.Id}").Append($"Procedure/{session}").ToHashSet(StringComparer.Ordinal);
        var raised = (await store.FindAllAsync<Flag>($"subject=Patient/{link.Person}", ct))
            .Where(f => f.IsRedFlag() && f.GetExtensionValue<ResourceReference>(Extensions.FlagSource)?.Reference is { } source && results.Contains(source))
            .Select(f => f.Code.CodeIn(Systems.RedFlag)).ToHashSet(StringComparer.Ordinal);
        return [.. SafetyScreen.Catalogue.Where(f => raised.Contains(f.Code))];
    }

    private static HomeExercise Exercise(ServiceRequest request)
    {
        var dosage = ExerciseParts.SetUpOf(request)?.Dosage ?? new DosageRequest();
        return new HomeExercise(HandleOf(request.Id!), TitleOf(request), PlainWords.Dosage(new DosageRequest { Sets = dosage.Sets, Repetitions = dosage.Repetitions, Minutes = dosage.Minutes }), dosage.Repetitions is null && dosage.Minutes is not null ? "minutes" : "times");
    }

    private static string TitleOf(ServiceRequest request) => Sides.Of(request.BodySite.FirstOrDefault()) switch
    {
        (Sides.Left or Sides.Right) and var side => $"{request.Code?.Text ?? "Exercise"}, {side} hand",
        _ => request.Code?.Text ?? "Exercise",
    };

    private static string HandleOf(string id) => Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes($"home:{id}")))[..12];

    /// <summary>Initials where no first name is on record; never the family name.</summary>
    private static string FirstName(Patient? patient)
    {
        var name = patient?.Name.FirstOrDefault();
        return PersonMapping.GivenNames(name) is [var given, ..] ? given : name?.Family is { Length: > 0 } family ? $"{family[..1]}." : "you";
    }
}
