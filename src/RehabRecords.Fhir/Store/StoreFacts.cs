using System.Globalization;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>What the store says of itself, as it is when a writer's turn begins.</summary>
/// <param name="Horizon">The last time, in microseconds, of which a copy of the record was made that names it: whatever is written later must say a later time.</param>
/// <param name="Index">The edition of the search index.</param>
/// <param name="Schema">The last step of the schema.</param>
internal sealed record StoreFacts(long Horizon, string? Index, string? Schema)
{
    public const string HorizonName = "horizon";
    public const string IndexName = "index";
    public const string SchemaName = "schema";

    public static StoreFacts Read(Session session)
    {
        var facts = session.Rows($"SELECT name, value FROM fact WHERE name IN ('{HorizonName}', '{IndexName}', '{SchemaName}')", r => (Name: r.GetString(0), Value: r.GetString(1)))
            .ToDictionary(f => f.Name, f => f.Value, StringComparer.Ordinal);
        return new StoreFacts(
            facts.TryGetValue(HorizonName, out var horizon) ? long.Parse(horizon, CultureInfo.InvariantCulture) : long.MinValue, facts.GetValueOrDefault(IndexName), facts.GetValueOrDefault(SchemaName));
    }

    public static string? Of(Session session, string name) => (string?)session.One("SELECT value FROM fact WHERE name=@p0", name);

    public static int Keep(Session session, string name, string value) =>
        session.Run("INSERT INTO fact (name, value) VALUES (@p0, @p1) ON CONFLICT (name) DO UPDATE SET value=excluded.value", name, value);

    /// <summary>Moves the horizon to a time, or leaves it where it is later already; gives where it is.</summary>
    public DateTimeOffset MoveHorizon(Session session, DateTimeOffset to)
    {
        if (DateRange.Microseconds(to) is var wanted && wanted <= Horizon)
            return DateRange.Time(Horizon);
        Keep(session, HorizonName, wanted.ToString(CultureInfo.InvariantCulture));
        return to;
    }
}

/// <summary>A set was given its time before a copy of the record was made that names a later one; it needs another time.</summary>
internal sealed class TooEarlyException(long horizon) : Exception("The set needs a later time.")
{
    public DateTimeOffset NotBefore { get; } = Millisecond.Of(DateRange.Time(horizon)).AddMilliseconds(1);
}

internal static class Millisecond
{
    /// <summary>Without what is smaller, as times are written in resources.</summary>
    public static DateTimeOffset Of(DateTimeOffset time) => new(time.UtcTicks / TimeSpan.TicksPerMillisecond * TimeSpan.TicksPerMillisecond, TimeSpan.Zero);
}
