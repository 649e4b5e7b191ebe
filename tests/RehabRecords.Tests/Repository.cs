namespace RehabRecords.Tests;

/// <summary>Finds files of the checkout from wherever the tests run.</summary>
internal static class Repository
{
    public static string Root { get; } = FindRoot();

    private static string FindRoot()
    {
        for (var folder = new DirectoryInfo(AppContext.BaseDirectory); folder is not null; folder = folder.Parent)
            if (File.Exists(Path.Combine(folder.FullName, "RehabRecords.sln")))
                return folder.FullName;
        throw new InvalidOperationException("RehabRecords.sln was not found above the test folder; run the tests from a checkout.");
    }
}
