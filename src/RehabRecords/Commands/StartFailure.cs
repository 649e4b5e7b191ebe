using System.Net.Sockets;
using RehabRecords.Fhir.Packages;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Commands;

/// <summary>Why the service could not start, told to the person who typed the command.</summary>
internal static class StartFailure
{
    /// <returns>What is wrong and what to do about it, or null where only the full trace helps.</returns>
    public static string? Explain(Exception failure) => Causes(failure).Select(Explained).FirstOrDefault(text => text is not null);

    private static string? Explained(Exception cause) => cause switch
    {
        StoreUnusableException store => store.Message + (store.Message.Contains("folder", StringComparison.Ordinal) ? " (--data names the folder.)" : ""),
        PackageUnusableException package => package.Message,
        SocketException { SocketErrorCode: SocketError.AddressAlreadyInUse } =>
            "Something else is listening on that address: stop it, or name another with --urls http://127.0.0.1:5081",
        SocketException { SocketErrorCode: SocketError.AccessDenied or SocketError.AddressNotAvailable } taken =>
            $"{taken.Message}: name an address of this machine that you may use, such as --urls http://127.0.0.1:5081",
        InvalidOperationException setting when setting.Message.StartsWith("Setting", StringComparison.Ordinal) => setting.Message,
        UnauthorizedAccessException denied => $"{denied.Message} Name a folder that you may write to with --data.",
        _ => null,
    };

    private static IEnumerable<Exception> Causes(Exception? failure)
    {
        for (; failure is not null; failure = failure.InnerException)
            yield return failure;
    }
}
