namespace RehabRecords.Fhir.Store;

/// <summary>
/// Limits what is seen of a store to the records of some people, and to what is about nobody and shared by all: clinicians,
/// organisations, exercises, templates. Each version counts by whom it is about itself.
/// </summary>
internal sealed class PeopleLimit(IEnumerable<string> people)
{
    private static readonly string[] Shared =
        ["Practitioner", "PractitionerRole", "Organization", "Location", "HealthcareService", "Device", "ActivityDefinition", "PlanDefinition", "Questionnaire"];

    /// <summary>What is written along with a record and names nobody by itself.</summary>
    private static readonly string[] Alongside = ["Practitioner", "Provenance", "AuditEvent", "Bundle", "Binary"];

    private readonly HashSet<long> _numbers = [.. people.Select(Person.Number)];
    private readonly HashSet<string> _people = [.. people];

    public bool Has(string patientId) => _people.Contains(patientId);

    /// <summary>Holds where a row may be seen.</summary>
    /// <param name="row">Alias of a row of resource or version.</param>
    public string Condition(string row) =>
        $"({row}.person IN ({string.Join(", ", _numbers.DefaultIfEmpty(-1))}) OR ({row}.person=0 AND {row}.type IN ({string.Join(", ", Shared.Select(t => $"'{t}'"))})))";

    public bool Shows(Session session, RecordVersion version) => session.One($"SELECT 1 FROM version v WHERE v.seq=@p0 AND {Condition("v")}", version.Sequence) is not null;

    /// <exception cref="RefusedException">NotFound for what the caller cannot see, NotPermitted for a new resource about somebody else.</exception>
    public bool RefuseOthers(Session session, IEnumerable<PreparedWrite> writes)
    {
        foreach (var write in writes)
        {
            var (type, id) = (write.Write.Type, write.Write.Id);
            if (RecordReads.Current(session, type, id) is { } current && !Shows(session, current))
                throw new RefusedException(Refusal.NotFound, Hl7.Fhir.Model.OperationOutcome.IssueType.NotFound, $"There is no {type}/{id}.");
            var person = write.Rows.Person is { } about ? Person.Number(about) : 0;
            var allowed = write.Write.IsDelete || (person != 0 ? _numbers.Contains(person) : Alongside.Contains(type) && write.Write.FromVersion == 0);
            if (!allowed)
                throw new RefusedException(Refusal.NotPermitted, Hl7.Fhir.Model.OperationOutcome.IssueType.Forbidden,
                    $"This {type} is about nobody of the people whose records you were given. Name one of them, or ask for the record to be handed over.", type);
        }

        return true;
    }
}
