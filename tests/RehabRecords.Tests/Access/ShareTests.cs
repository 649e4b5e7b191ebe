using System.Net;
using System.Text.Json.Nodes;
using Microsoft.AspNetCore.Http;
using RehabRecords.Access;

namespace RehabRecords.Tests.Access;

/// <summary>What one caller may ask for in a minute.</summary>
public sealed class ShareTests
{
    [Fact]
    public async Task A_caller_who_asks_too_much_is_told_to_wait_and_nobody_else_is()
    {
        await using var app = new AccessApp { Settings = { ["RehabRecords:Access:RequestsPerMinute"] = "30" } };
        await ((IAsyncLifetime)app).InitializeAsync();
        using var busy = await app.AsAsync(app.Reader);
        var statuses = new List<HttpStatusCode>();
        for (var i = 0; i < 40; i++)
        {
            using var response = await busy.GetAsync("/fhir/Patient");
            statuses.Add(response.StatusCode);
            if (response.StatusCode == HttpStatusCode.TooManyRequests)
                Assert.NotNull(response.Headers.RetryAfter);
        }

        Assert.Equal(30, statuses.Count(s => s == HttpStatusCode.OK));
        Assert.Equal(10, statuses.Count(s => s == HttpStatusCode.TooManyRequests));
        using var other = await app.AsAsync(app.Hill);
        await other.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient");
        // Reports have a share of their own.
        for (var i = 0; i < 35; i++)
            await other.SendAsync("GET", "/fhir/Patient");
        Assert.Equal(HttpStatusCode.TooManyRequests, (await other.SendAsync("GET", "/fhir/Patient")).Status);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, (await other.SendAsync("POST", "/api/sessions", new JsonObject().ToJsonString())).Status);
    }

    [Fact]
    public async Task A_caller_whose_requests_are_being_answered_waits_for_a_turn_and_nobody_else_does()
    {
        await using var app = new AccessApp { Settings = { ["RehabRecords:Access:RequestsAtOnce"] = "1" } };
        await ((IAsyncLifetime)app).InitializeAsync();
        using var busy = await app.AsAsync(app.Hill);
        using var other = await app.AsAsync(app.Vale);
        var content = new HeldContent();
        using var request = new HttpRequestMessage(HttpMethod.Post, "/fhir/Patient") { Content = content, Headers = { ExpectContinue = true } };
        var held = busy.SendAsync(request);
        await content.IsRead;
        var more = Enumerable.Range(0, Shares.MostWaiting + 1).Select(_ => busy.GetAsync("/fhir/Patient")).ToList();
        var refused = await await Task.WhenAny(more);
        Assert.Equal(HttpStatusCode.TooManyRequests, refused.StatusCode);
        Assert.NotNull(refused.Headers.RetryAfter);

        await other.ExpectAsync(HttpStatusCode.OK, "GET", "/fhir/Patient");
        Assert.Equal(HttpStatusCode.UnprocessableEntity, (await busy.SendAsync("POST", "/api/sessions", new JsonObject().ToJsonString())).Status);
        Assert.Equal(HttpStatusCode.NotFound, (await busy.GetAsync("/fhir/Patient/nobody/$everything")).StatusCode);
        Assert.Equal(1, more.Count(one => one.IsCompleted));
        content.Release();

        Assert.Equal(HttpStatusCode.Created, (await held).StatusCode);
        var answers = await Task.WhenAll(more);
        Assert.Equal(Shares.MostWaiting, answers.Count(a => a.StatusCode == HttpStatusCode.OK));
    }

    [Fact]
    public async Task A_caller_who_gives_up_leaves_the_queue()
    {
        await using var app = new AccessApp { Settings = { ["RehabRecords:Access:RequestsAtOnce"] = "1" } };
        await ((IAsyncLifetime)app).InitializeAsync();
        var shares = app.Service<Shares>();
        var (caller, request) = (new Caller("hill", Role.Therapist, "one", "One"), new DefaultHttpContext().Request);
        var first = await shares.TakeAsync(caller, request, default);
        using var impatient = new CancellationTokenSource();
        var second = shares.TakeAsync(caller, request, impatient.Token).AsTask();
        var third = shares.TakeAsync(caller, request, default).AsTask();
        Assert.False(second.IsCompleted);
        await impatient.CancelAsync();
        await Assert.ThrowsAnyAsync<OperationCanceledException>(() => second);
        Assert.False(third.IsCompleted);
        first.Dispose();
        (await third).Dispose();
    }

    [Fact]
    public async Task Whoever_hammers_at_one_link_holds_up_no_other()
    {
        await using var app = new AccessApp { Settings = { ["RehabRecords:Access:RequestsPerMinute"] = "10" } };
        await ((IAsyncLifetime)app).InitializeAsync();
        using var http = app.CreateClient();
        var tried = new List<HttpStatusCode>();
        for (var i = 0; i < 15; i++)
            tried.Add((await http.GetAsync("/home/hill.AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA")).StatusCode);

        Assert.Equal(5, tried.Count(s => s == HttpStatusCode.TooManyRequests));
        Assert.Equal(tried[0], (await http.GetAsync("/home/hill.BBBBBBBBBBBBBBBBBBBBBBBBBBBBBBBB")).StatusCode);
        Assert.Equal(tried[0], (await http.GetAsync("/home/vale.AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA")).StatusCode);
    }

    /// <summary>A body of which the end comes when it is let go.</summary>
    private sealed class HeldContent : HttpContent
    {
        private readonly TaskCompletionSource _read = new();
        private readonly TaskCompletionSource _released = new();

        public HeldContent() => Headers.ContentType = new("application/fhir+json");

        /// <summary>Ends when the body is asked for: the server says "continue" when the service begins to read, and then the request has its turn.</summary>
        public Task IsRead => _read.Task;

        public void Release() => _released.SetResult();

        protected override async Task SerializeToStreamAsync(Stream stream, TransportContext? context)
        {
            await stream.WriteAsync("""{ "resourceType": "Patient", """u8.ToArray());
            _read.SetResult();
            await _released.Task;
            await stream.WriteAsync(""" "active": true }"""u8.ToArray());
        }

        protected override bool TryComputeLength(out long length) => (length = 0) == 1;
    }
}
