using System.Reflection;
using System.Security.Cryptography;
using System.Text;
using FluentValidation;
using Hl7.Fhir.Model;
using Microsoft.AspNetCore.Http.Metadata;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Trade;

/// <summary>
/// The body of a post to /api: read once, strictly, and already checked by its rules. A handler that takes one never
/// sees a bad request.
/// </summary>
/// <param name="Hash">SHA-256 over route and body, so that a key used again for something else is noticed.</param>
/// <param name="Key">From the header Idempotency-Key, if the client sent one.</param>
#pragma warning disable CA1000 // The framework finds both by these static names.
public sealed record Posted<T>(T Body, string Hash, IdempotencyKey? Key) : IBindableFromHttpContext<Posted<T>>, IEndpointParameterMetadataProvider
    where T : class
{
    public static async ValueTask<Posted<T>?> BindAsync(HttpContext context, ParameterInfo parameter)
    {
        var bytes = await PostedBody.ReadAsync(context.Request, context.RequestAborted);
        var body = BodyText.Read<T>(bytes);
        await PostedBody.CheckAsync(context.RequestServices.GetRequiredService<IValidator<T>>(), body, context.RequestAborted);
        var hash = PostedBody.Hash(context.Request.Path, bytes);
        return new Posted<T>(body, hash, PostedBody.KeyOf(context.Request, hash));
    }

    public static void PopulateMetadata(ParameterInfo parameter, EndpointBuilder builder) =>
        builder.Metadata.Add(new AcceptsMetadata(["application/json"], typeof(T)));
}
#pragma warning restore CA1000

internal static class PostedBody
{
    /// <summary>The longest trade request: far above a session with every exercise of a programme.</summary>
    public const int MaxBytes = 1024 * 1024;

    public const int MaxKeyLength = 200;

    /// <exception cref="RefusedException">With every fault that the rules find.</exception>
    public static async System.Threading.Tasks.Task CheckAsync<T>(IValidator<T> rules, T body, CancellationToken ct)
    {
        var found = await rules.ValidateAsync(body, ct);
        if (!found.IsValid)
            throw new RefusedException(Refusal.Invalid, [.. found.Errors.Select(e => Issue.Error(OperationOutcome.IssueType.Value, e.ErrorMessage, e.PropertyName))]);
    }

    public static async Task<byte[]> ReadAsync(HttpRequest request, CancellationToken ct)
    {
        if (request.ContentLength > MaxBytes)
            throw TooLarge();
        using var held = new MemoryStream();
        var buffer = new byte[16 * 1024];
        int read;
        while ((read = await request.Body.ReadAsync(buffer, ct)) > 0)
        {
            held.Write(buffer, 0, read);
            if (held.Length > MaxBytes)
                throw TooLarge();
        }

        return held.ToArray();
    }

    public static string Hash(PathString path, byte[] body)
    {
        using var sha = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        sha.AppendData(Encoding.UTF8.GetBytes(path.Value + "\n"));
        sha.AppendData(body);
        return Convert.ToHexStringLower(sha.GetHashAndReset());
    }

    public static IdempotencyKey? KeyOf(HttpRequest request, string hash)
    {
        if (!request.Headers.TryGetValue("Idempotency-Key", out var values))
            return null;
        var key = values.ToString();
        if (key.Length is 0 or > MaxKeyLength || key.Any(c => c is < '!' or > '~') || values.Count > 1)
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Value,
                $"Idempotency-Key has {key.Length} characters; give one key of 1 to {MaxKeyLength} printable ASCII characters without spaces, such as a UUID.", "Idempotency-Key");
        return new IdempotencyKey("api", key, hash);
    }

    private static RefusedException TooLarge() =>
        new(Refusal.TooLarge, OperationOutcome.IssueType.TooLong, $"The body is over {MaxBytes} bytes; send one request per thing recorded.");
}
