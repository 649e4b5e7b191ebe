using CsCheck;
using Hl7.Fhir.Model;
using static RehabRecords.Tests.Rest.FhirCalls;

namespace RehabRecords.Tests.Rest;

/// <summary>Several callers with copies of one resource, some of them old, who write without asking each other.</summary>
public sealed class LostUpdateTests(TestApp app) : IClassFixture<TestApp>
{
    private const int Callers = 4;

    private enum Act
    {
        Read,
        Put,
        Patch,
    }

    private static readonly Gen<(int Caller, Act Act)> AnyAct = Gen.Select(Gen.Int[0, Callers - 1], Gen.Enum<Act>());

    [Fact]
    public Task What_was_acknowledged_is_never_lost() => AnyAct.Array[1, 8].Array[1, 4].SampleAsync(RunAsync, iter: 40, threads: 1);

    private async Task RunAsync((int Caller, Act Act)[][] waves)
    {
        var id = await app.CreateAsync(Person());
        var copies = new (int Version, string[] Words)[Callers];
        Array.Fill(copies, (1, ["Ada"]));
        var acknowledged = new System.Collections.Concurrent.ConcurrentDictionary<int, string>();
        var words = 0;

        async Task ActAsync(int caller, Act act)
        {
            if (act == Act.Read)
            {
                using var read = await app.SendAsync("GET", $"/Patient/{id}");
                copies[caller] = Copy(await read.FhirAsync<Patient>());
                return;
            }
            var word = $"W{Interlocked.Increment(ref words)}";
            var (version, known) = copies[caller];
            using var response = act == Act.Put
                ? await app.SendAsync("PUT", $"/Patient/{id}", Named(id, [.. known, word]), Json, ("If-Match", $"W/\"{version}\""))
                : await app.SendAsync("PATCH", $"/Patient/{id}", $$"""[{"op":"add","path":"/name/0/given/-","value":"{{word}}"}]""", "application/json-patch+json", ("If-Match", $"W/\"{version}\""));
            Assert.True((int)response.StatusCode is 200 or 412, response.Text());
            if ((int)response.StatusCode == 412)
                return;
            copies[caller] = Copy(await response.FhirAsync<Patient>());
            Assert.Equal(version + 1, copies[caller].Version);
            Assert.True(acknowledged.TryAdd(version + 1, word), $"Version {version + 1} was acknowledged twice.");
        }

        // Callers act side by side, each in its own order.
        foreach (var wave in waves)
            await Task.WhenAll(wave.GroupBy(w => w.Caller).Select(async acts =>
            {
                foreach (var (caller, act) in acts)
                    await ActAsync(caller, act);
            }));

        var (last, told) = Copy(Read(await app.Http.GetStringAsync($"/fhir/Patient/{id}")));
        Assert.Equal(acknowledged.Count + 1, last);
        Assert.Equal(["Ada", .. acknowledged.OrderBy(a => a.Key).Select(a => a.Value)], told);
    }

    private static (int Version, string[] Words) Copy(Patient person) => (int.Parse(person.Meta!.VersionId!), [.. person.Name[0].Given!]);

    private static Patient Read(string json) => RehabRecords.Fhir.Parsing.ResourceReader.Trusted<Patient>(System.Text.Encoding.UTF8.GetBytes(json));

    private static string Named(string id, string[] words) =>
        $$"""{"resourceType":"Patient","id":"{{id}}","name":[{"family":"Sampleton","given":["{{string.Join("\",\"", words)}}"]}],"birthDate":"1950-04-03"}""";
}
