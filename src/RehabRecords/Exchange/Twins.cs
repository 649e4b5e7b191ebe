using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;
using RehabRecords.Trade;

namespace RehabRecords.Exchange;

/// <summary>What in our record is the same thing as something that came in.</summary>
/// <param name="Id">Its id here, or the id it will get.</param>
/// <param name="Here">What we hold; null when it is new.</param>
/// <param name="Version">Its version here; 0 when it is new.</param>
internal sealed record Twin(string Id, Resource? Here, int Version)
{
    public bool WasDeleted { get; init; }
}

/// <summary>
/// Finds our own resource for each that came in: by the address where it was first made, then by business identifiers.
/// Names never decide. Where more than one fits, a person is asked.
/// </summary>
internal sealed class Twins(RecordStore store, string fhirBase)
{
    /// <param name="choice">The id of our person, or "new", when somebody has decided who it is.</param>
    /// <exception cref="RefusedException">Ambiguous with the candidates; Conflict when the identifier says yes and the date of birth says no.</exception>
    public async Task<Twin> OfPersonAsync(Incoming incoming, string? choice, CancellationToken ct)
    {
        var theirs = (Patient)incoming.Resource;
        if (choice is not (null or "new"))
        {
            var (chosen, version) = await store.NamedAsync<Patient>("person", Rules.Bare(choice, "Patient"), "person", ct);
            RefuseOtherBirthDate(theirs, chosen, incoming.Path);
            return new Twin(chosen.Id!, chosen, version);
        }

        if (choice is null && await OfAsync(incoming, ct) is { Here: Patient known } twin)
        {
            RefuseOtherBirthDate(theirs, known, incoming.Path);
            return twin;
        }

        if (choice is null && await AlikeAsync(theirs, ct) is { Count: > 0 } alike)
            throw new RefusedException(Refusal.Ambiguous, OperationOutcome.IssueType.MultipleMatches,
                $"No identifier of the person is known here, but {(alike.Count == 1 ? "a person" : $"{alike.Count} persons")} of the same name and date of birth: {string.Join(", ", alike.Select(p => $"Patient/{p.Id}"))}. "
                + "A name does not decide who somebody is. Send it again with ?person=<id> if it is one of them, or with ?person=new if it is somebody else.", incoming.Path + ".identifier");
        return await NewAsync(incoming, ct);
    }

    public async Task<Twin> OfAsync(Incoming incoming, CancellationToken ct)
    {
        if (LiteralReference.Of(incoming.Origin) is { Type: { } type } made && made.Base.TrimEnd('/') == fhirBase)
        {
            var ours = await store.ReadAsync(type, made.Id!, ct) ?? throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.NotFound,
                $"{incoming.Origin} claims to have been made here, and there never was such a resource. Correct its identifier ({Origin.System}).", incoming.Path);
            return Of(ours);
        }

        if (await store.HolderOfAsync(incoming.Type, Origin.System, incoming.Origin, ct) is { } marked)
            return Of((await store.ReadAsync(incoming.Type, marked, ct))!);
        var holders = new HashSet<string>(StringComparer.Ordinal);
        foreach (var identifier in Origin.Identifiers(incoming.Resource) ?? [])
            if (identifier is { System.Length: > 0, Value.Length: > 0 } && await store.HolderOfAsync(incoming.Type, identifier.System, identifier.Value, ct) is { } holder)
                holders.Add(holder);
        return holders.Count switch
        {
            0 => await NewAsync(incoming, ct),
            1 => Of((await store.ReadAsync(incoming.Type, holders.Single(), ct))!),
            _ => throw new RefusedException(Refusal.Ambiguous, OperationOutcome.IssueType.MultipleMatches,
                $"The identifiers of this {incoming.Type} belong to {holders.Count} resources here: {string.Join(", ", holders.Order(StringComparer.Ordinal).Select(h => $"{incoming.Type}/{h}"))}. "
                + (incoming.Resource is Patient ? "Send it again with ?person=<id> to say which it is, or correct the identifiers." : "Correct the identifiers, so that they belong to one."),
                incoming.Path + ".identifier"),
        };
    }

    /// <summary>Under the id it has there if that is a UUID, and the id is not taken by something else here.</summary>
    private async Task<Twin> NewAsync(Incoming incoming, CancellationToken ct)
    {
        var idThere = LiteralReference.Of(incoming.Origin).Id ?? incoming.Origin.Replace("urn:uuid:", "", StringComparison.Ordinal);
        foreach (var id in new[] { Origin.LocalId(incoming.Origin, idThere), Origin.Named(incoming.Origin) })
        {
            if (await store.ReadAsync(incoming.Type, id, ct) is not { } taken)
                return new Twin(id, null, 0);
            // Types that cannot say where they were made are known by their id alone, which nobody else gives out.
            if (!taken.Deleted && Origin.Identifiers(incoming.Resource) is null)
                return Of(taken);
        }

        throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict, $"The id of {incoming.Origin} is taken here by another {incoming.Type}.", incoming.Path);
    }

    private async Task<List<Patient>> AlikeAsync(Patient theirs, CancellationToken ct)
    {
        if (theirs.BirthDate is not { } birth || theirs.Name.FirstOrDefault()?.Family is not { } family)
            return [];
        var born = await store.FindAllAsync<Patient>($"birthdate={Uri.EscapeDataString(birth)}", ct);
        return [.. born.Where(p => p.Name.Exists(n => string.Equals(n.Family?.Trim(), family.Trim(), StringComparison.OrdinalIgnoreCase)))];
    }

    private static void RefuseOtherBirthDate(Patient theirs, Patient ours, string path)
    {
        if (theirs.BirthDate is { } there && ours.BirthDate is { } here && there != here)
            throw new RefusedException(Refusal.Conflict, OperationOutcome.IssueType.Conflict,
                $"The identifier belongs to Patient/{ours.Id} here, born {here}; the one that came in was born {there}. One of them is wrong, or they are two people. Nothing was taken in: correct one side, or name the right person with ?person=.", path + ".birthDate");
    }

    private static Twin Of(RecordVersion version) => version.Deleted
        ? new Twin(version.Id, null, version.Version) { WasDeleted = true }
        : new Twin(version.Id, ResourceReader.Trusted<Resource>(version.Json), version.Version);
}
