using System.Text.Json;
using System.Text.Json.Serialization;
using Hl7.Fhir.Model;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Rest.Bulk;

/// <summary>What a bulk export was asked for.</summary>
/// <param name="Address">Of the call that asked, in full; the manifest repeats it.</param>
/// <param name="OfPeople">Only what belongs to people's records.</param>
/// <param name="Types">In the order of the registry.</param>
/// <param name="Since">Only what was changed or deleted after this time.</param>
internal sealed record BulkRequest(string Address, bool OfPeople, IReadOnlyList<string> Types, DateTimeOffset? Since)
{
    private static readonly string[] Formats = ["application/fhir+ndjson", "application/ndjson", "ndjson"];

    public static async Task<BulkRequest> ReadAsync(Call call, bool ofPeople)
    {
        if (!call.Http.Request.Headers["Prefer"].SelectMany(h => (h ?? "").Split(',', ';')).Any(p => p.Trim() == "respond-async"))
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Required, "An export takes its time and is answered later: send Prefer: respond-async with the request.");
        var arguments = await Arguments.ReadAsync(call, "_outputFormat", "_since", "_type");
        // A plus sign in a query is a space unless it was escaped.
        if (arguments.Once("_outputFormat")?.Replace(' ', '+') is { } format && !Formats.Contains(format, StringComparer.Ordinal))
            throw Arguments.Unreadable("_outputFormat", format, string.Join(", ", Formats));
        var registry = call.Need<ResourceRegistry>();
        var types = arguments.List("_type");
        if (types.FirstOrDefault(t => !registry.Has(t)) is { } unknown && !call.Prefer.Lenient)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.NotSupported,
                $"_type names '{unknown}', which is not kept here. Leave it out, or send Prefer: handling=lenient to have it passed over; /fhir/metadata lists the types.", "_type");
        var caller = call.Need<Calling>().Caller;
        foreach (var type in types)
            call.Need<Calling>().Require(type, 'r');
        return new BulkRequest(
            call.Settings.PublicUrl + call.Http.Request.Path + call.Http.Request.QueryString,
            ofPeople, [.. registry.Kinds.Select(k => k.Type).Where(t => types.Count == 0 ? caller.May(t, 'r') : types.Contains(t))], arguments.Instant("_since"));
    }
}

/// <param name="Type">The type of every resource in it; Bundle for deletions.</param>
/// <param name="File">Name in the folder of the job.</param>
internal sealed record BulkFile(string Type, string File, long Count);

/// <summary>What was made; kept beside the files, and the proof that they are complete.</summary>
internal sealed record BulkResult(DateTimeOffset TransactionTime, DateTimeOffset FinishedAt, IReadOnlyList<BulkFile> Output, IReadOnlyList<BulkFile> Deleted);

/// <summary>What is kept of a job from its first moment, so that it survives the end of the process.</summary>
/// <param name="Attempts">How often it was begun.</param>
/// <param name="Organisation">Whose record it is made of.</param>
/// <param name="Client">Who asked for it.</param>
internal sealed record BulkOrder(BulkRequest Request, DateTimeOffset AskedAt, int Attempts, string Organisation = Stores.Only, string Client = "demo");

/// <summary>Small files that are there whole or not at all.</summary>
internal static class BulkJson
{
    private static readonly JsonSerializerOptions Options = new(JsonSerializerDefaults.Web) { WriteIndented = true, UnmappedMemberHandling = JsonUnmappedMemberHandling.Disallow, RespectRequiredConstructorParameters = true };

    public static void Write<T>(string path, T value)
    {
        File.WriteAllBytes(path + ".partial", JsonSerializer.SerializeToUtf8Bytes(value, Options));
        File.Move(path + ".partial", path, overwrite: true);
    }

    /// <summary>Null when it is not there or not readable.</summary>
    public static T? Read<T>(string path)
        where T : class
    {
        try
        {
            return File.Exists(path) ? JsonSerializer.Deserialize<T>(File.ReadAllBytes(path), Options) : null;
        }
        catch (JsonException)
        {
            return null;
        }
    }
}
