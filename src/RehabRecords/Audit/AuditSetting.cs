namespace RehabRecords.Audit;

/// <summary>What leaves a trace; the section RehabRecords:Audit.</summary>
public sealed class AuditSetting
{
    /// <summary>Whether every read and write leaves an AuditEvent. On where people and systems sign in; in the demo, whose people are invented, only when it is asked for.</summary>
    public bool? On { get; set; }
}
