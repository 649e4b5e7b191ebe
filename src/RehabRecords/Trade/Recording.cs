using System.Text.Json;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;
using RehabRecords.Fhir.Validation;
using RehabRecords.Telemetry;

namespace RehabRecords.Trade;

/// <summary>What a handler answers once its write is committed.</summary>
public sealed record Recorded<T>(int Status, string Location, T Answer);

/// <summary>One request, one write set, one transaction; and a repeated key answers what the first one answered.</summary>
public sealed class Recording(RecordStore store, RecordWriter writer)
{
    public Task<IResult> OnceAsync<T>(
        IdempotencyKey? key, Func<WriteSet, CancellationToken, Task<Recorded<T>>> prepare, CancellationToken ct, int tries = 1) =>
        OnceAsync(key is null ? [] : [key], prepare, ct, tries);

    /// <summary>
    /// Runs <paramref name="prepare"/>, which reads what it needs and fills the set, and commits. With more than one
    /// try, a lost race for a version is run again from the reading on.
    /// </summary>
    /// <param name="keys">Any of them, seen before, answers for the request; all are kept with the answer.</param>
    public async Task<IResult> OnceAsync<T>(
        IReadOnlyList<IdempotencyKey> keys, Func<WriteSet, CancellationToken, Task<Recorded<T>>> prepare, CancellationToken ct, int tries = 1)
    {
        for (var attempt = 1; ; attempt++)
        {
            foreach (var key in keys)
                if (await store.AnswerOfAsync(key, ct) is { } earlier)
                    return new KeptAnswer(earlier);
            var set = new WriteSet { Key = keys.Count > 0 ? keys[0] : null, FurtherKeys = [.. keys.Skip(1)] };
            var prepared = false;
            try
            {
                var recorded = await prepare(set, ct);
                prepared = true;
                set.Answer = new StoredAnswer(recorded.Status, recorded.Location, JsonSerializer.SerializeToUtf8Bytes(recorded.Answer, TradeJson.Options));
                var commit = await writer.WriteAsync(set, ct);
                return new KeptAnswer(commit.EarlierAnswer ?? set.Answer);
            }
            catch (RefusedException e) when (attempt < tries && e.Refusal is Refusal.StaleVersion or Refusal.Conflict && (prepared || keys.Count > 0))
            {
                // What prepare refuses is refused for good, unless a repeat under the key got in first and has the answer.
                // Another request moved what this one was computed from; compute again from what is there now.
                Measured.MadeAgain.Add(1);
            }
        }
    }
}

/// <summary>Sends the very bytes that are kept under the key.</summary>
public sealed class KeptAnswer(StoredAnswer answer) : IResult
{
    /// <summary>Address of what was recorded, for a page that goes on with it; empty when nothing new was made.</summary>
    public string Location => answer.Location;

    /// <summary>What is kept under the key, for who reads it further.</summary>
    public StoredAnswer Answer => answer;

    public async Task ExecuteAsync(HttpContext httpContext)
    {
        var response = httpContext.Response;
        response.StatusCode = answer.Status;
        response.ContentType = "application/json; charset=utf-8";
        response.ContentLength = answer.Body.Length;
        if (answer.Location.Length > 0)
            response.Headers.Location = answer.Location;
        await response.Body.WriteAsync(answer.Body, httpContext.RequestAborted);
    }
}
