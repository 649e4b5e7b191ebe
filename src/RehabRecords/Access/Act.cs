namespace RehabRecords.Access;

/// <summary>The roles of the trade. A caller has one.</summary>
public enum Role
{
    Therapist,
    Student,
    SupportWorker,
    CommunityTeam,
    RecordsOfficer,

    /// <summary>Software: a notes system, a hospital system.</summary>
    System,
}

/// <summary>The kinds of act that are allowed or not.</summary>
public enum Act
{
    ReadRecord,
    RecordSession,
    RegisterPerson,
    ChangeProgramme,
    EditNote,
    Sign,
    Countersign,
    Discharge,
    ExportRecord,
    HandOver,
    TakeIn,
    Library,

    /// <summary>Create, change and delete resources under /fhir.</summary>
    WriteResources,
    ReadAudit,

    /// <summary>How long records are kept: legal holds, erasure.</summary>
    KeepRecords,

    /// <summary>Merge two records of one person.</summary>
    MergeRecords,
}

/// <summary>Who may do what. Common practice, no source: local policy decides whom an organisation gives which role.</summary>
public static class RoleTable
{
    private static readonly Dictionary<Role, HashSet<Act>> Allowed = new()
    {
        [Role.Therapist] =
        [
            Act.ReadRecord, Act.RecordSession, Act.RegisterPerson, Act.ChangeProgramme, Act.EditNote, Act.Sign, Act.Countersign, Act.Discharge, Act.ExportRecord, Act.HandOver, Act.TakeIn, Act.Library, Act.MergeRecords,
        ],
        // What a student writes waits for a countersignature; what changes treatment is decided by whoever supervises.
        [Role.Student] = [Act.ReadRecord, Act.RecordSession, Act.EditNote, Act.Sign],
        [Role.SupportWorker] = [Act.ReadRecord, Act.RecordSession],
        // Of the people it was given, and of nobody else.
        [Role.CommunityTeam] = [Act.ReadRecord, Act.RecordSession, Act.ChangeProgramme, Act.EditNote, Act.Sign, Act.Countersign, Act.HandOver, Act.TakeIn],
        [Role.RecordsOfficer] = [Act.ReadRecord, Act.RegisterPerson, Act.ExportRecord, Act.HandOver, Act.TakeIn, Act.ReadAudit, Act.KeepRecords, Act.MergeRecords],
        // Within its scopes. A signature is a person's.
        [Role.System] =
        [
            Act.ReadRecord, Act.RecordSession, Act.RegisterPerson, Act.ChangeProgramme, Act.EditNote, Act.ExportRecord, Act.HandOver, Act.TakeIn, Act.Library, Act.WriteResources, Act.ReadAudit,
        ],
    };

    public static bool Allows(Role role, Act act) => Allowed[role].Contains(act);

    /// <summary>read-record for ReadRecord, as roles and acts are written in settings, scopes and answers.</summary>
    public static string Word<T>(T value)
        where T : struct, Enum => System.Text.Json.JsonNamingPolicy.KebabCaseLower.ConvertName(value.ToString());

    public static T? Read<T>(string? word)
        where T : struct, Enum
    {
        foreach (var value in Enum.GetValues<T>())
            if (Word(value) == word)
                return value;
        return null;
    }
}
