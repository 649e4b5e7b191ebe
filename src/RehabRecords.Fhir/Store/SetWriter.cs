using Hl7.Fhir.Model;
using RehabRecords.Fhir.Search;

namespace RehabRecords.Fhir.Store;

/// <summary>Writes a prepared set inside an open savepoint. Throws <see cref="RefusedException"/> to have the savepoint rolled back.</summary>
internal static class SetWriter
{
    public static CommitResult Apply(Session session, PreparedSet set)
    {
        foreach (var key in set.Keys)
            if (Answers.Find(session, key) is { } earlier)
                return new CommitResult([], earlier);
        foreach (var key in set.Keys)
            Answers.Keep(session, key, set.Answer!, set.Made);

        // Freed before any is claimed, so that one set may hand an identifier from one resource to another.
        foreach (var write in set.Writes)
            if (write.Write.FromVersion > 0)
                session.Later("DELETE FROM claim WHERE type=@p0 AND id=@p1", write.Write.Type, write.Write.Id);
        var written = new List<RecordVersion>(set.Writes.Count);
        foreach (var write in set.Writes)
            written.Add(Put(session, write));
        foreach (var write in set.Writes)
            if (write.Write.IsDelete)
                RefuseWhereReferredTo(session, write);
        RefuseWhatRefersToTheDeleted(session, set);
        return new CommitResult(written, null);
    }

    public static void PutRows(Session session, long res, long person, IndexRows rows)
    {
        foreach (var (table, values) in Values(rows))
            table.Run(session, res, person, values);
    }

    /// <summary>The values that every row of a resource has in its table, besides the numbers of the resource and the person.</summary>
    public static IEnumerable<(RowInsert Table, IReadOnlyList<object[]> Values)> Values(IndexRows rows)
    {
        // With the row's place where nothing else tells it from the others.
        yield return (RowInsert.Tokens, [.. rows.Tokens.Select(row => new object[] { row.Parameter, LongText.Short(row.System), LongText.Short(row.Code) })]);
        yield return (RowInsert.Dates, [.. rows.Dates.Select(row => new object[] { row.Parameter, row.Start, row.Finish })]);
        yield return (RowInsert.References, [.. rows.References.Select(row => new object[] { row.Parameter, LongText.Short(row.Target), LongText.Short(row.Version) })]);
        yield return (RowInsert.Uris, [.. rows.Uris.Select(row => new object[] { row.Parameter, LongText.Short(row.Value) })]);
        yield return (RowInsert.Strings, [.. rows.Strings.Select((row, place) => new object[] { row.Parameter, place, row.Folded, row.Exact })]);
        yield return (RowInsert.Quantities, [.. rows.Quantities.Select((row, place) => (object[])[row.Parameter, place, .. Amount(row)])]);
        yield return (RowInsert.Pairs, [.. rows.Pairs.Select((row, place) => (object[])[row.Parameter, place, LongText.Short(row.FirstSystem), LongText.Short(row.FirstCode), .. Second(row.Second)])]);
    }

    public static void DropRows(Session session, long res, long person)
    {
        session.Later("DELETE FROM token_row WHERE res=@p0 AND person=@p1", res, person);
        session.Later("DELETE FROM date_row WHERE res=@p0 AND person=@p1", res, person);
        session.Later("DELETE FROM reference_row WHERE res=@p0 AND person=@p1", res, person);
        session.Later("DELETE FROM uri_row WHERE res=@p0 AND person=@p1", res, person);
        session.Later("DELETE FROM string_row WHERE res=@p0 AND person=@p1", res, person);
        session.Later("DELETE FROM quantity_row WHERE res=@p0 AND person=@p1", res, person);
        session.Later("DELETE FROM pair_row WHERE res=@p0 AND person=@p1", res, person);
    }

    private static object[] Amount(QuantityRow row) =>
        [LongText.Short(row.System), LongText.Short(row.Code), row.Unit, row.Low, row.High, row.InBase is var (unit, _, _) ? unit : "", row.InBase is var (_, low, _) ? low : DBNull.Value, row.InBase is var (_, _, high) ? high : DBNull.Value];

    /// <summary>The columns that a row of the second part would have, and null in those of other kinds.</summary>
    private static object[] Second(object row)
    {
        static object[] Nulls(int count) => [.. Enumerable.Repeat<object>(DBNull.Value, count)];
        return row switch
        {
            TokenRow token => [LongText.Short(token.System), LongText.Short(token.Code), .. Nulls(12)],
            QuantityRow quantity => [.. Amount(quantity), .. Nulls(6)],
            DateRow date => [.. Nulls(8), date.Start, date.Finish, .. Nulls(4)],
            StringRow text => [.. Nulls(10), text.Folded, text.Exact, .. Nulls(2)],
            ReferenceRow reference => [.. Nulls(12), LongText.Short(reference.Target), LongText.Short(reference.Version)],
            _ => throw new InvalidOperationException($"A {row.GetType().Name} is no part of a composite."),
        };
    }

    public static RecordVersion Put(Session session, PreparedWrite prepared)
    {
        var (type, id) = (prepared.Write.Type, prepared.Write.Id);
        // Whoever was erased does not come back by a sender's next message, or by an old copy of the record.
        if (type == "Patient" && prepared.Write.FromVersion == 0 && Tombstones.ErasedAt(session, $"{type}/{id}") is { } erased)
            throw new RefusedException(Refusal.Gone, OperationOutcome.IssueType.Deleted, $"{type}/{id} was erased on {erased.UtcDateTime:yyyy-MM-dd} and is not taken in again. A person who comes back is recorded anew, under another id.", "Patient");
        var updated = DateRange.Microseconds(prepared.Updated);
        var deleted = prepared.Write.IsDelete;
        // A deletion stays in the record of the person whom the resource was about.
        var personBefore = prepared.Write.FromVersion > 0 ? session.One("SELECT person FROM resource WHERE type=@p0 AND id=@p1", type, id) as long? ?? 0 : 0;
        var person = deleted ? personBefore : Person.Number(prepared.Rows.Person);
        var seq = (long)session.One(
            "INSERT INTO version (type, id, version, deleted, updated, person, json, digest) VALUES (@p0, @p1, @p2, @p3, @p4, @p5, @p6, @p7) ON CONFLICT DO NOTHING RETURNING seq",
            type, id, prepared.Version, deleted ? 1 : 0, updated, person, prepared.Json, VersionDigest.Of(type, id, prepared.Version, deleted, updated, prepared.Json)).OrRefuse(session, prepared);
        var res = (long)(prepared.Write.FromVersion == 0
            ? session.One(
                "INSERT INTO resource (type, id, version, deleted, updated, seq, person) VALUES (@p0, @p1, @p2, @p3, @p4, @p5, @p6) ON CONFLICT DO NOTHING RETURNING num",
                type, id, prepared.Version, deleted ? 1 : 0, updated, seq, person)
            : session.One(
                "UPDATE resource SET version=@p0, deleted=@p1, updated=@p2, seq=@p3, person=@p4 WHERE type=@p5 AND id=@p6 AND version=@p7 AND (deleted=0 OR @p1=0) RETURNING num",
                prepared.Version, deleted ? 1 : 0, updated, seq, person, type, id, prepared.Write.FromVersion)).OrRefuse(session, prepared);
        if (prepared.Write.FromVersion > 0)
            DropRows(session, res, personBefore);
        PutRows(session, res, person, prepared.Rows);
        foreach (var claim in prepared.Rows.Claims)
            Claim(session, prepared, claim, person);
        return new RecordVersion(seq, type, id, prepared.Version, deleted, prepared.Updated, prepared.Json);
    }

    /// <summary>
    /// Asked inside the transaction and after all of the set is written, so that a set may delete a resource together with
    /// what refers to it, and no reference slips in meanwhile.
    /// </summary>
    private static void RefuseWhereReferredTo(Session session, PreparedWrite prepared)
    {
        var address = $"{prepared.Write.Type}/{prepared.Write.Id}";
        if (prepared.Pointers.Count == 0)
            return;
        var referrers = session.Rows(
            $"SELECT r.type, r.id FROM reference_row x JOIN resource r ON r.num=x.res WHERE x.parameter IN ({string.Join(',', prepared.Pointers)}) AND x.target=@p0 AND r.type<>'AuditEvent' ORDER BY r.seq LIMIT 1",
            r => $"{r.GetString(0)}/{r.GetString(1)}",
            address);
        if (referrers is [var referrer])
            throw new RefusedException(
                Refusal.Conflict,
                OperationOutcome.IssueType.Conflict,
                $"{address} is referred to by {referrer}, so deleting it would leave a gap in the record. Give it the status entered-in-error, or delete what refers to it in the same transaction.",
                prepared.Write.Type);
    }

    /// <summary>
    /// The other half: what was there when a set was checked may have been deleted before the set's turn came. Looked at
    /// are the references that a deletion looks at; a version that is named can still be read, and a log may name what is
    /// gone.
    /// </summary>
    private static void RefuseWhatRefersToTheDeleted(Session session, PreparedSet set)
    {
        var looked = new HashSet<string>(StringComparer.Ordinal);
        foreach (var write in set.Writes)
        {
            if (write.Write is { IsDelete: true } or { Type: "Bundle" or "AuditEvent" })
                continue;
            foreach (var reference in write.Rows.References)
            {
                if (reference.Version.Length > 0 || !looked.Add(reference.Target) || ReferenceTypes.Split(reference.Target) is not { Base: "" } target)
                    continue;
                if (session.One("SELECT deleted FROM resource WHERE type=@p0 AND id=@p1", target.Type, target.Id) is 1L)
                    throw new RefusedException(
                        Refusal.Conflict,
                        OperationOutcome.IssueType.Conflict,
                        $"{reference.Target}, which {write.Write.Type}/{write.Write.Id} refers to, was deleted. Leave the reference out, or name the version of it that is meant.",
                        write.Write.Type);
            }
        }
    }

    private static void Claim(Session session, PreparedWrite prepared, IdentifierClaim claim, long person)
    {
        var (type, id) = (prepared.Write.Type, prepared.Write.Id);
        var (system, value) = (LongText.Short(claim.System), LongText.Short(claim.Value));
        var made = session.Run(
            "INSERT INTO claim (type, system, value, scope, id, person) VALUES (@p0, @p1, @p2, @p3, @p4, @p5) ON CONFLICT DO NOTHING",
            type, system, value, IdentifierScope.Of(type, person), id, person);
        if (made == 1)
            return;
        var holder = session.One(
            "SELECT id FROM claim WHERE type=@p0 AND system=@p1 AND value=@p2 AND scope=@p3", type, system, value, IdentifierScope.Of(type, person));
        throw new RefusedException(
            Refusal.Conflict,
            OperationOutcome.IssueType.Duplicate,
            $"The identifier {claim.System}|{claim.Value} is already held by {type}/{holder}. Use that resource, or give this one another identifier.",
            $"{type}.identifier");
    }

    private static object OrRefuse(this object? row, Session session, PreparedWrite prepared)
    {
        if (row is not null)
            return row;
        var (type, id) = (prepared.Write.Type, prepared.Write.Id);
        var from = prepared.Write.FromVersion;
        var current = session.Rows("SELECT version, deleted FROM resource WHERE type=@p0 AND id=@p1", r => (Version: r.GetInt32(0), Deleted: r.GetInt32(1) == 1), type, id);
        if (current is [{ Deleted: true } gone] && gone.Version == from)
            throw new RefusedException(Refusal.Gone, OperationOutcome.IssueType.Deleted, $"{type}/{id} was already deleted.");
        throw new RefusedException(Refusal.StaleVersion, OperationOutcome.IssueType.Conflict, current switch
        {
            [] => $"{type}/{id} does not exist, so version {from} of it cannot be replaced.",
            [var now] when from == 0 => $"{type}/{id} exists already, at version {now.Version}; state that version to replace it.",
            [var now, ..] => $"{type}/{id} is at version {now.Version}, not {from}. Read it again, make the change to that version and send it with that version.",
        });
    }
}

/// <summary>Within what an identifier is unique: its type, and for the carers of a person that person.</summary>
internal static class IdentifierScope
{
    public static long Of(string type, long person) => type == "RelatedPerson" ? person : 0;
}

internal static class Person
{
    public static long Number(string? id) => id is null ? 0 : StableHash.Of64(id);
}
