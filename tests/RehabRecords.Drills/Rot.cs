using System.Net;
using System.Text;
using System.Text.Json.Nodes;

namespace RehabRecords.Drills;

/// <summary>What is stored changes without the service's doing: found, refused, and had again from a backup.</summary>
internal static class Rot
{
    /// <summary>One bit of one stored version. SQLite: in the file. PostgreSQL: in turn in a row, as by a hand, and in the file of a table, as by a disk.</summary>
    public static async Task<Finding> BitAsync(int rounds, int seed)
    {
        var random = new Random(seed);
        var (stored, lost, faults) = (0, 0, new List<string>());
        for (var round = 0; round < rounds; round++)
        {
            using var backend = new Backend();
            var backup = Path.Combine(backend.Folder, "backup");
            string person, bytes;
            var others = new List<string>();
            await using (var instance = await Instance.StartAsync(backend))
            {
                person = await Person.WithRecordAsync(instance, 100);
                for (var n = 0; n < 8; n++)
                    others.Add((string)(await Person.PostAsync(instance, "/fhir/Patient", new JsonObject { ["resourceType"] = "Patient", ["active"] = true }))["id"]!);
                stored += 109;
                bytes = await instance.Http.GetStringAsync($"/fhir/Patient/{person}");
                await instance.StopAsync();
            }

            void Expect(bool held, string what)
            {
                if (!held)
                    faults.Add($"round {round}: {what}");
            }

            async Task Says(Backend store, int code, string words, params string[] command)
            {
                var (ended, said) = await store.RunAsync(command);
                Expect(ended == code && said.Contains(words, StringComparison.Ordinal), $"{command[0]} ended with {ended}: {said[..Math.Min(said.Length, 300)]}");
            }

            await Says(backend, 0, "is whole", "check-store");
            await Says(backend, 0, "last commit", "backup", backup);
            var byDisk = Backend.OnServer && round % 2 == 1;
            if (!Backend.OnServer)
                FlipInFile(backend, person, random);
            else if (byDisk)
                await FlipOnServerAsync(backend, person, random);
            else
            {
                var bit = random.Next(8, 400);
                backend.Do($"UPDATE version SET json=set_bit(json, {bit}, 1-get_bit(json, {bit})) WHERE id='{person}'");
            }

            await Says(backend, 3, byDisk ? "cannot read a part" : $"Patient/{person}/_history/1 is not as it was stored", "check-store");
            await Says(backend, byDisk ? 1 : 3, byDisk ? "could not do it" : "is not as it was stored", "backup", backup + "-of-damage");
            await using (var instance = await Instance.StartAsync(backend))
            {
                using var answer = await instance.Http.GetAsync($"/fhir/Patient/{person}");
                Expect(answer.StatusCode is HttpStatusCode.InternalServerError or HttpStatusCode.ServiceUnavailable, $"the damaged version was answered {(int)answer.StatusCode}");
                // Others are served: all, or those that do not lie in the page the server refuses.
                var served = 0;
                foreach (var other in others)
                    served += await instance.StatusAsync($"/fhir/Patient/{other}") == HttpStatusCode.OK ? 1 : 0;
                Expect(byDisk ? served > 0 : served == others.Count, $"{served} of {others.Count} others were served");
            }

            using var again = new Backend();
            await Says(again, 0, "found the same", "restore", backup);
            await Says(again, 0, "is whole", "check-store");
            await using var restored = await Instance.StartAsync(again);
            lost += await Person.CountAsync(restored, person) == 100 && await restored.Http.GetStringAsync($"/fhir/Patient/{person}") == bytes ? 0 : 1;
        }

        return new Finding("one bit of a stored version changed: found, not given out, not backed up, restored", rounds, stored, lost, faults.Count == 0 ? "each as it should be" : string.Join("; ", faults), faults.Count == 0 && lost == 0);
    }

    private static void FlipInFile(Backend backend, string id, Random random)
    {
        var file = Path.Combine(backend.Folder, "records.db");
        var bytes = File.ReadAllBytes(file);
        var json = bytes.AsSpan().IndexOf(Encoding.UTF8.GetBytes($"\"id\":\"{id}\""));
        bytes[json + random.Next(7, 40)] ^= (byte)(1 << random.Next(7));
        File.WriteAllBytes(file, bytes);
    }

    /// <summary>In the page that holds the row, while the server is down; its checksum then does not fit.</summary>
    private static async Task FlipOnServerAsync(Backend backend, string id, Random random)
    {
        var path = (string)backend.Ask($"SELECT current_setting('data_directory') || '/' || pg_relation_filepath(tableoid) FROM version WHERE id='{id}'")!;
        var page = (long)backend.Ask($"SELECT (ctid::text::point)[0]::bigint FROM version WHERE id='{id}'")!;
        await Backend.ServerAsync("-m", "fast", "stop");
        using (var file = new FileStream(path, FileMode.Open, FileAccess.ReadWrite))
        {
            file.Position = (page * 8192) + random.Next(6000, 8000);
            var one = file.ReadByte();
            file.Position--;
            file.WriteByte((byte)(one ^ 4));
        }

        await Backend.ServerAsync("start");
    }
}
