using System.Data.Common;
using System.Text;
using Microsoft.Data.Sqlite;

namespace RehabRecords.Telemetry;

/// <summary>What the log tells of an exception: of which kind it was and where. Its words may quote what somebody sent, as those of parsers do.</summary>
internal static class Fault
{
    public static string Of(Exception exception)
    {
        var text = new StringBuilder();
        for (var one = exception; one is not null; one = one.InnerException)
        {
            text.Append(text.Length == 0 ? "" : "\ncaused by ").Append(one.GetType().FullName);
            if (one is SqliteException sqlite)
                text.Append(" (code ").Append(sqlite.SqliteExtendedErrorCode).Append(')');
            else if (one is DbException { SqlState: { } state })
                text.Append(" (state ").Append(state).Append(')');
            // The words of the operating system, such as that a disk is full; kinds that are made from this one have words of their own.
            else if (one.GetType() == typeof(IOException))
                text.Append(" (").Append(one.Message).Append(')');
            text.Append('\n').Append(one.StackTrace);
        }

        return text.ToString();
    }
}
