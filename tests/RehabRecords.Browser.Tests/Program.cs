namespace RehabRecords.Browser.Tests;

/// <summary>The tests are run by dotnet test; run as a program, this makes the pictures of docs/pages.</summary>
internal static class PictureProgram
{
    public static async Task<int> Main(string[] args)
    {
        if (args is ["--pages"])
        {
            await Pictures.MakeAsync();
            return 0;
        }

        await Console.Error.WriteLineAsync("""
            dotnet run --project tests/RehabRecords.Browser.Tests -- --pages    makes the pictures of docs/pages anew
            dotnet test tests/RehabRecords.Browser.Tests                        runs the tests in the browser
            """);
        return 2;
    }
}
