using RehabRecords.Notes;
using RehabRecords.Progress;

namespace RehabRecords.Pages.Tasks;

/// <summary>Tasks in the words of a page.</summary>
internal static class TaskWords
{
    public static string State(string? status) => status switch
    {
        "completed" => "done",
        "cancelled" => "cancelled",
        "rejected" => "declined by whoever was asked",
        "failed" => "tried, and not done",
        "entered-in-error" => "entered in error",
        "on-hold" => "open, on hold",
        "in-progress" => "open, being done",
        "accepted" or "received" => "open, taken on",
        _ => "open",
    };

    public static string? Day(string? text) => Addresses.Day(text) is { } day ? Wording.Date(day) : text;
}
