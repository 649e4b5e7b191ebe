using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;

namespace RehabRecords.Drills;

/// <summary>The clock of the machine is set while the service runs.</summary>
internal static class Clocks
{
    private const string Library = "/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1";

    /// <summary>Steps of an hour back and forth while one resource is updated and others are created.</summary>
    public static async Task<Finding> StepAsync(int rounds, int seed)
    {
        if (!File.Exists(Library))
            throw new InvalidOperationException("'faketime' is not here. On Debian: apt-get install faketime.");
        using var backend = new Backend();
        var clock = Path.Combine(backend.Folder, "clock");
        await File.WriteAllTextAsync(clock, "+0");
        await using var instance = await Instance.StartAsync(backend, environment: new Dictionary<string, string>
        {
            ["LD_PRELOAD"] = Library,
            ["FAKETIME_TIMESTAMP_FILE"] = clock,
            ["FAKETIME_NO_CACHE"] = "1",
            ["FAKETIME_DONT_FAKE_MONOTONIC"] = "1",
        });
        var made = await Person.PostAsync(instance, "/fhir/Observation", Person.Observation(null, seed));
        var address = $"/fhir/Observation/{made["id"]}";
        var (written, wrong, version, latest) = (0, new List<string>(), 1, Time(made));
        var random = new Random(seed);
        for (var round = 0; round < rounds; round++)
        {
            var offset = random.Next(-3600, 3600);
            await File.WriteAllTextAsync(clock, offset.ToString("+0;-0", CultureInfo.InvariantCulture));
            for (var n = 0; n < 10; n++)
            {
                var body = Person.Observation(null, (round * 100) + n);
                body["id"] = made["id"]!.DeepClone();
                using var content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/fhir+json");
                using var request = new HttpRequestMessage(HttpMethod.Put, address) { Content = content };
                request.Headers.TryAddWithoutValidation("If-Match", $"W/\"{version}\"");
                using var answer = await instance.Http.SendAsync(request);
                var stored = JsonNode.Parse(await answer.Content.ReadAsStringAsync())!;
                if ((string?)stored["meta"]?["versionId"] != (version + 1).ToString(CultureInfo.InvariantCulture))
                    wrong.Add($"version after {version}: {(int)answer.StatusCode}");
                else if (Time(stored) < latest)
                    wrong.Add("an update that looks older than the version before it");
                else
                    (version, latest, written) = (version + 1, Time(stored), written + 1);
            }
        }

        await File.WriteAllTextAsync(clock, "+0");
        var history = JsonNode.Parse(await instance.Http.GetStringAsync($"{address}/_history?_count=1000"))!;
        var order = history["entry"]!.AsArray().Select(e => int.Parse((string)e!["resource"]!["meta"]!["versionId"]!, CultureInfo.InvariantCulture)).ToList();
        if (!order.SequenceEqual(Enumerable.Range(1, version).Reverse()))
            wrong.Add("the history is not in the order of the versions");
        return new Finding("the clock is set by up to an hour, back and forth", rounds, written, written - (order.Count - 1), wrong.Count == 0 ? $"{version} versions, each one on, none older than the one before" : string.Join("; ", wrong.Distinct()), wrong.Count == 0);
    }

    private static DateTimeOffset Time(JsonNode resource) => DateTimeOffset.Parse((string)resource["meta"]!["lastUpdated"]!, CultureInfo.InvariantCulture);
}
