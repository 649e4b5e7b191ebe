using System.Net.Sockets;
using RehabRecords.Fhir;

namespace RehabRecords.Commands;

/// <summary>Why the service could not start, told to the person who typed the command.</summary>
internal static class StartFailure
{
    /// <returns>What to do about it, or null where only the full trace helps.</returns>
    public static string? Explain(Exception failure) => failure switch
    {
        FormatException bad => bad.Message,
        RefusedException { Refusal: Refusal.Unavailable } busy => $"{busy.Message} Stop the other one, or name another folder with --data.",
        _ when Causes(failure).OfType<SocketException>().FirstOrDefault() is { SocketErrorCode: SocketError.AddressAlreadyInUse } =>
            $"{FirstLine(failure)} Something else is listening there: stop it, or name another address with --urls http://127.0.0.1:5081",
        _ when Causes(failure).OfType<SocketException>().FirstOrDefault() is { SocketErrorCode: SocketError.AccessDenied or SocketError.AddressNotAvailable } =>
            $"{FirstLine(failure)} Name an address of this machine that you may use, such as --urls http://127.0.0.1:5081",
        UnauthorizedAccessException denied => $"{denied.Message} Name a folder you may write to with --data.",
        IOException broken => $"{FirstLine(broken)} If the data folder is in use or full, name another with --data.",
        _ => null,
    };

    private static string FirstLine(Exception failure) => failure.Message.Split('\n')[0].TrimEnd('.', '\r', ' ') + ".";

    private static IEnumerable<Exception> Causes(Exception? failure)
    {
        for (; failure is not null; failure = failure.InnerException)
            yield return failure;
    }
}
