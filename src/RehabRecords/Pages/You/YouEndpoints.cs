using Microsoft.AspNetCore.Authentication;
using Microsoft.AspNetCore.Http.HttpResults;
using RehabRecords.Access;
using RehabRecords.Documents;
using RehabRecords.Fhir;
using RehabRecords.Host;
using RehabRecords.Trade;

namespace RehabRecords.Pages.You;

/// <summary>What the page shows: who is known, or what was typed, and what is wrong with it.</summary>
public sealed record YouView(string? Name, string? Role, string? RegistrationBody, string? Registration, string Back, string? Known, IReadOnlyList<string> Faults);

internal static class YouEndpoints
{
    public static void MapYou(this IEndpointRouteBuilder routes)
    {
        routes.MapGet("/you", (string? back, HttpContext http, WhoCookie cookie) =>
        {
            var who = cookie.Read(http);
            if (cookie.IsSignedIn)
                return new RazorComponentResult<SignedInPage>(new { Who = who });
            return (IResult)Page(new YouView(who?.Name, who?.Role, who?.RegistrationBody, who?.Registration, Local(back), who?.Words, []), 200);
        });
        routes.MapPost("/you", SayAsync);
        routes.MapPost("/you/leave", async (Filled form, HttpContext http, WhoCookie cookie) =>
        {
            if (cookie.IsSignedIn)
                await http.SignOutAsync(SignIn.Cookie);
            cookie.Forget(http);
            return new SeeOther("/you");
        });
    }

    private static async Task<IResult> SayAsync(Filled form, HttpContext http, WhoCookie cookie, TimeProvider clock, CancellationToken ct)
    {
        if (cookie.IsSignedIn)
            throw Calling.Refused("Who is working is known from signing in. To be somebody else, sign out first.");
        var said = new Signer { Name = form["name"], Role = form["role"], RegistrationBody = form["registrationBody"], Registration = form["registration"] };
        try
        {
            form.Check();
            await PostedBody.CheckAsync(new SignerRules(), said, ct);
        }
        catch (RefusedException refused)
        {
            return Page(
                new YouView(said.Name, said.Role, said.RegistrationBody, said.Registration, Local(form["back"]), cookie.Read(http)?.Words, PageWords.Of(refused)),
                Failure.StatusOf(refused.Refusal));
        }

        cookie.Write(http, new Who(said.Name!, said.Role!, said.RegistrationBody, said.Registration, clock.GetUtcNow()));
        return new SeeOther(Local(form["back"]));
    }

    private static RazorComponentResult<YouPage> Page(YouView view, int status) => new(new { Model = view }) { StatusCode = status };

    /// <summary>Only an address of this service is gone back to: a link must not lead elsewhere by way of us.</summary>
    private static string Local(string? back) =>
        back is ['/', ..] && !(back.Length > 1 && back[1] is '/' or '\\') && back.All(c => c is > ' ' and <= '~') && !back.StartsWith("/you", StringComparison.Ordinal) ? back : "/caseload";
}

/// <summary>After a form was taken: the page is read anew, so that loading it again sends nothing twice.</summary>
internal sealed class SeeOther(string address) : IResult
{
    public Task ExecuteAsync(HttpContext httpContext)
    {
        httpContext.Response.StatusCode = StatusCodes.Status303SeeOther;
        httpContext.Response.Headers.Location = address;
        return Task.CompletedTask;
    }
}
