using System.Globalization;
using System.Text;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.WebUtilities;
using RehabRecords.Access;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Fhir.Search;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Rest.Operations;

/// <summary>Patient/[id]/$everything: the person's whole record, and whoever and whatever it refers to.</summary>
internal static class PatientEverything
{
    /// <summary>Beyond what is written piece by piece a page must fit into memory.</summary>
    public const int LargestPage = 1000;

    public static Operation Operation { get; } =
        new("everything", "http://hl7.org/fhir/OperationDefinition/Patient-everything", Level.Instance, AnswerAsync)
        {
            Types = ["Patient"],
            Documentation = "The patient compartment with Task, Device, Provenance, documents and files, then the practitioners, organizations and devices that it refers to (search mode include). "
                + "start and end leave out what has dates and none of them within; what has no date stays. "
                + "Without _count, JSON is sent as one stream; with _count, and always in XML, follow the 'next' link.",
        };

    private static async Task<IResult> AnswerAsync(Call call)
    {
        var arguments = await Arguments.ReadAsync(call, "start", "end", "_since", "_type", "_count", "_cursor");
        var wanted = Wanted.Of(call, arguments);
        await call.Need<Reads>().CurrentAsync("Patient", call.Id, call.Ct);
        return wanted.Count is null && call.Format is { Format: FhirFormat.Json, Pretty: false }
            ? new EverythingStream(call, MatchesAsync(call, wanted), wanted)
            : new BodyResult(call, await PageAsync(call, wanted, Math.Min(wanted.Count ?? LargestPage, LargestPage)));
    }

    private static async Task<ReadOnlyMemory<byte>> PageAsync(Call call, Wanted wanted, int count)
    {
        var page = new List<RecordVersion>();
        var more = false;
        await foreach (var match in MatchesAsync(call, wanted))
        {
            more = page.Count == count;
            if (more)
                break;
            page.Add(match);
        }

        var links = new List<(string, string)> { ("self", wanted.Link(call, wanted.After)) };
        if (more && page.Count > 0)
            links.Add(("next", wanted.Link(call, page[^1].Address)));
        using var bundle = new BundleBody(call.Settings.FhirBase, "searchset", null, [.. links]);
        var around = new Surroundings(call.Need<RecordStore>(), call.Need<ResourceRegistry>(), wanted.Types);
        foreach (var match in page)
        {
            around.Saw(match);
            bundle.Found(match, match.Json, "match");
        }

        await foreach (var included in around.ReadAsync(call.Need<Calling>().Caller, call.Ct))
            bundle.Found(included, included.Json, "include");
        return bundle.End();
    }

    private static async IAsyncEnumerable<RecordVersion> MatchesAsync(Call call, Wanted wanted)
    {
        var indexer = call.Need<SearchIndexer>();
        var caller = call.Need<Calling>().Caller;
        await foreach (var version in call.Need<RecordStore>().OfPatientAsync(call.Id, allVersions: false, wanted.After, call.Ct))
        {
            if (!version.Deleted && caller.May(version.Type, 'r') && wanted.Takes(version, indexer))
                yield return version;
        }
    }

    /// <summary>What of the record is asked for.</summary>
    internal sealed record Wanted(IReadOnlyList<string> Types, DateTimeOffset? Since, int? Count, string? After, DateTimeOffset? Start, DateTimeOffset? End)
    {
        // A date of birth is no date of care.
        private static readonly string[] NotOfCare = ["_lastUpdated", "birthdate", "death-date"];

        private IReadOnlyList<KeyValuePair<string, string?>> Given { get; init; } = [];

        public static Wanted Of(Call call, Arguments arguments)
        {
            var types = arguments.List("_type");
            if (types.FirstOrDefault(t => !call.Need<ResourceRegistry>().Has(t)) is { } unknown)
                throw Arguments.Unreadable("_type", unknown, "resource types of this service, which /fhir/metadata lists");
            return new Wanted(types, arguments.Instant("_since"), arguments.Number("_count", 1), Place(arguments.Once("_cursor")), Day(arguments, "start", 0), Day(arguments, "end", 1))
            {
                Given = [.. from name in new[] { "start", "end", "_since", "_type", "_count" } let all = string.Join(',', arguments.All(name)) where all.Length > 0 select KeyValuePair.Create(name, (string?)all)],
            };
        }

        public string Link(Call call, string? after) => QueryHelpers.AddQueryString(
            call.Absolute($"Patient/{call.Id}/$everything"), after is null ? Given : Given.Append(new("_cursor", WebEncoders.Base64UrlEncode(Encoding.UTF8.GetBytes(after)))));

        public bool Takes(RecordVersion version, SearchIndexer indexer) =>
            (Types.Count == 0 || Types.Contains(version.Type))
            && (Since is null || version.LastUpdated >= Since)
            && ((Start is null && End is null) || IsWithin(version, indexer));

        private bool IsWithin(RecordVersion version, SearchIndexer indexer)
        {
            var keys = indexer.Parameters.For(version.Type).Where(p => p.Kind == SearchParamType.Date && !NotOfCare.Contains(p.Code)).Select(p => p.Key).ToHashSet();
            var dates = indexer.Index(ResourceReader.Trusted<Resource>(version.Json)).Dates.Where(d => keys.Contains(d.Parameter)).ToList();
            return dates.Count == 0 || dates.Exists(d => (Start is null || d.Finish > Micro(Start.Value)) && (End is null || d.Start < Micro(End.Value)));
        }

        private static long Micro(DateTimeOffset at) => (at.UtcTicks - DateTimeOffset.UnixEpoch.UtcTicks) / TimeSpan.TicksPerMicrosecond;

        private static string? Place(string? cursor)
        {
            if (cursor is null)
                return null;
            try
            {
                var place = Encoding.UTF8.GetString(WebEncoders.Base64UrlDecode(cursor));
                if (place.Split('/').Length == 2)
                    return place;
            }
            catch (FormatException)
            {
            }

            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Value, "_cursor was not given by this service; follow the 'next' link as it is, or start again without it.", "_cursor");
        }

        private static DateTimeOffset? Day(Arguments arguments, string name, int further) =>
            arguments.Once(name) is not { } text ? null
            : DateOnly.TryParseExact(text, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out var day)
                ? new DateTimeOffset(day.AddDays(further).ToDateTime(TimeOnly.MinValue), TimeSpan.Zero)
                : throw Arguments.Unreadable(name, text, "a day such as 2026-01-31");
    }
}
