using RehabRecords.Access;
using RehabRecords.Audit;
using RehabRecords.Host;

namespace RehabRecords.Commands;

/// <summary>verify-audit: whether the audit trail is as it was written.</summary>
internal static class AuditCommand
{
    private const int NotWhole = 3;

    public static async Task<int> RunAsync(CommandLine line, Func<string[], WebApplication> build)
    {
        await using var app = build(line.Settings);
        var settings = app.Services.GetRequiredService<Settings>();
        var store = app.Services.GetRequiredService<Stores>().Of(Stores.Only);
        // What a service that ended suddenly had noted, and not yet linked.
        await app.Services.GetRequiredService<AuditTrail>().SettleAsync(CancellationToken.None);
        var anchors = AuditTrail.AnchorsOf(settings.DataFolder, Stores.Only);
        var verdict = await store.VerifyAuditChainAsync(anchors);
        if (!verdict.IsWhole)
        {
            Console.WriteLine("The audit trail is NOT as it was written:");
            foreach (var problem in verdict.Problems)
                Console.WriteLine($"- {problem}");
            return NotWhole;
        }

        Console.WriteLine($"The audit trail is whole: {verdict.Head.Number} events linked{(verdict.Gaps == 0 ? "" : $", {verdict.Gaps} of which an erasure left a part and no more")}, {anchors.Count} links noted outside of the store fit.");
        Console.WriteLine($"Last link, to be noted somewhere else: {verdict.Head.Number} {verdict.Head.Hash}");
        return 0;
    }
}
