using System.Diagnostics;
using System.Text.Json.Nodes;

namespace RehabRecords.Commands;

/// <summary>Loads the demo clinic over HTTP into the service that just started, and prints what came back.</summary>
internal static class Demo
{
    /// <summary>Whose drafts are printed in full: first the one that must not wait, then the ordinary one.</summary>
    private static readonly string[] InFull = ["dev-madeup", "ada-sampleton"];

    public static async Task ShowAsync(Uri address, string dataFolder, bool once, long began, CancellationToken ct)
    {
        using var http = new HttpClient { BaseAddress = address };
        Console.WriteLine("RehabRecords demo. Pebblewick Community Therapy and everybody in it are invented.");
        Console.WriteLine($"The record is kept in {Path.GetFullPath(dataFolder)}");
        var ready = TimeProvider.System.GetElapsedTime(began);

        var before = await SessionsStoredAsync(http, ct);
        var answers = await new DemoClinic(http, DemoClinic.DefaultFolder).PostAllAsync(ct);
        var after = await SessionsStoredAsync(http, ct);
        var posted = answers.CountBy(a => a.Folder[2..]).Select(c => c.Value == 1 ? $"1 {c.Key.TrimEnd('s')}" : $"{c.Value} {c.Key}");
        Console.WriteLine($"Posted over HTTP: {string.Join(", ", posted)}.");
        Console.WriteLine(before == 0
            ? $"{after} sessions are now in the record."
            : $"They were known from an earlier run: {before} sessions before, {after} after, nothing stored twice.");

        var last = answers.Where(a => a.Folder == "6-sessions").GroupBy(a => a.Name[..a.Name.LastIndexOf('-')]).ToDictionary(g => g.Key, g => g.Last().Result);
        var people = answers.Where(a => a.Folder == "1-people").ToDictionary(a => a.Name, a => $"{a.Body["givenNames"]![0]} {a.Body["familyName"]}");
        foreach (var person in InFull)
            PrintDraft(people[person], last[person], address);
        PrintEverybody(people, last, address);
        foreach (var discharge in answers.Where(a => a.Folder == "9-discharges"))
            Console.WriteLine($"Discharge of {people[discharge.Name]}, {discharge.Result["status"]}: {new Uri(address, discharge.Result["address"]!.ToString())}\n");

        var elapsed = TimeProvider.System.GetElapsedTime(began);
        Console.WriteLine($"""
            Ready to serve after {ready.TotalSeconds:0.0} s, all posted and printed after {elapsed.TotalSeconds:0.0} s, {Process.GetCurrentProcess().WorkingSet64 / 1048576} MB of memory.

            Trade interface   {address}docs   (OpenAPI document: {address}openapi/v1.json)
            FHIR interface    {address}fhir/metadata
            """);
        if (!once)
            Console.WriteLine("\nServing. Press Ctrl+C to stop.");
    }

    private static void PrintDraft(string person, JsonNode result, Uri address)
    {
        Console.WriteLine();
        Console.WriteLine($"---- What came back for {person}'s last session ----");
        // The answer's first member, as a notes system would show it: before anything else.
        foreach (var urgent in (result["urgent"] as JsonArray ?? []).GroupBy(u => (u!["urgency"]!.ToString(), u["text"]!.ToString())))
            Console.WriteLine($"{urgent.Key.Item1.ToUpperInvariant().Replace('-', ' ')} ({string.Join(", ", urgent.Select(u => u!["code"]))}): {urgent.Key.Item2}");
        Console.WriteLine();
        Console.WriteLine(result["note"]!["text"]!.ToString().Trim());
        Console.WriteLine();
        Console.WriteLine($"This draft: {new Uri(address, result["note"]!["address"]!.ToString())}");
    }

    private static void PrintEverybody(Dictionary<string, string> people, Dictionary<string, JsonNode> last, Uri address)
    {
        Console.WriteLine();
        Console.WriteLine("---- Everybody ----");
        foreach (var (file, name) in people)
        {
            var result = last[file];
            var flags = (result["flags"] as JsonArray ?? []).Count;
            Console.WriteLine($"{name}: {result["adherence"]!["text"]}{(flags > 0 ? $" Open flags: {flags}." : "")}");
            Console.WriteLine($"  {new Uri(address, result["note"]!["address"]!.ToString())}");
        }

        Console.WriteLine();
    }

    private static async Task<int> SessionsStoredAsync(HttpClient http, CancellationToken ct)
    {
        using var answer = await http.GetAsync("/fhir/Procedure?_summary=count", ct);
        var text = await answer.Content.ReadAsStringAsync(ct);
        return answer.IsSuccessStatusCode
            ? JsonNode.Parse(text)!["total"]!.GetValue<int>()
            : throw new DemoRefusedException($"The sessions could not be counted ({(int)answer.StatusCode}):\n{text}");
    }
}
