using System.Collections.Frozen;
using System.Diagnostics;
using OpenTelemetry;

namespace RehabRecords.Telemetry;

/// <summary>
/// Leaves in a trace the route as it is written in the program, and takes out what a caller sent: path, query, host, program, and the state that
/// came along with a trace of somebody else's. What is kept is listed, so that a later version of the library cannot add to it.
/// </summary>
internal sealed class RouteOnly : BaseProcessor<Activity>
{
    private static readonly FrozenSet<string> Kept = FrozenSet.ToFrozenSet(
        ["http.request.method", "http.route", "http.response.status_code", "url.scheme", "network.protocol.version", "error.type"], StringComparer.Ordinal);

    public override void OnEnd(Activity data)
    {
        foreach (var tag in data.TagObjects.Where(t => !Kept.Contains(t.Key)).ToList())
            data.SetTag(tag.Key, null);
        // Words of an exception, if there were any.
        data.SetStatus(data.Status);
        data.TraceStateString = null;
        data.DisplayName = $"{data.GetTagItem("http.request.method")} {data.GetTagItem("http.route") ?? "(no route)"}";
    }
}
