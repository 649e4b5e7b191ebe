using System.Data.Common;
using DbUp.Engine;

namespace RehabRecords.Fhir.Store;

/// <summary>Carries out the steps of the schema that a store does not have yet.</summary>
internal static class SchemaSteps
{
    /// <exception cref="StoreUnusableException">As <see cref="Upgrade"/>, or the store cannot be reached.</exception>
    public static void BringUpToDate(Dialect dialect)
    {
        try
        {
            dialect.Upgrade();
        }
        catch (DbException e)
        {
            // A certificate that is not taken, or a port that is closed, is told only by what lies beneath.
            var cause = e.GetBaseException();
            throw new StoreUnusableException($"The store cannot be opened: {e.Message}{(cause == e ? "" : $" ({cause.Message})")}", e);
        }
    }

    /// <param name="folder">Of the scripts, as it stands in their names.</param>
    /// <param name="store">How the store is named in a message.</param>
    /// <exception cref="StoreUnusableException">The store has steps that this program does not know, or a step failed.</exception>
    public static void Upgrade(UpgradeEngine engine, string folder, string store)
    {
        string Name(string? script) => script?.Split(folder)[^1] ?? "(none)";
        var unknown = engine.GetExecutedButNotDiscoveredScripts();
        if (unknown.Count > 0)
            throw new StoreUnusableException(
                $"{store} was written by a newer version of this program (it has the schema step {Name(unknown[^1])}, which this one does not know). "
                + "Start the newer version, or restore a backup made before the upgrade. Nothing was changed.");
        var result = engine.PerformUpgrade();
        if (!result.Successful)
            throw new StoreUnusableException($"The schema could not be brought up to date at step {Name(result.ErrorScript?.Name)}: {result.Error.Message} Nothing was changed.", result.Error);
    }
}
