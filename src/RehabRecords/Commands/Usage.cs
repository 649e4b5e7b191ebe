namespace RehabRecords.Commands;

internal static class Usage
{
    public const string Text = """
        RehabRecords: home programmes for arm and hand recovery after stroke, as FHIR R4.
        Session results are posted; a draft progress note, each sentence traceable, comes back.

          dotnet run --project src/RehabRecords                  serve the store in ./data; closed until settings say who may enter
          dotnet run --project src/RehabRecords -- demo          load an invented clinic, show the notes, keep serving
          dotnet run --project src/RehabRecords -- demo --once   the same, then stop
          dotnet run --project src/RehabRecords -- help          this text

          ... -- export-record PERSON FILE   write the whole record of a person into a zip (--from URL: of a running service)
          ... -- verify-record ZIP           check such a zip; ends with 3 when something is wrong, and says what
          ... -- import-record ZIP           rebuild the record in a store where it is not
          ... -- verify-audit                check the audit trail of a store that is not being served; ends with 3 when something is wrong
          ... -- retention                   whose record is due for a look, by the rule that is set, and who is under legal hold
          ... -- apply-erasures LEDGER       after a backup was restored: erase again who was erased since (LEDGER: erasures.ndjson)
          ... -- clear-remains               write the store's files anew, so that nothing of what was erased is left in them

          ... -- backup FOLDER          copy the store into a new folder, while the service runs; prints counts and digests
          ... -- verify-backup FOLDER   read all of a backup and compare it with its list
          ... -- restore FOLDER         put a backup into an empty store, of either engine, and compare
          ... -- check-store            read the whole store, while the service runs; ends with 3 and names each row that is not as it was stored
          ... -- move-store             copy the store of --data into the PostgreSQL database of the settings, and compare

        Options
          --all               of backup, verify-backup, check-store, restore, move-store, verify-audit, retention, clear-remains: every organisation that is set
          --organisation KEY  of any command above: the store of that one
          --data FOLDER   where the store is kept (default: data; for the demo: data/demo)
          --urls URL      where to listen (default: http://127.0.0.1:5080)
          --Section:Name VALUE   any other setting, such as --RehabRecords:TimeZone Europe/Dublin
          --RehabRecords:Access:Mode demo   nobody signs in; this machine only (the demo command sets it)

        While it runs: /docs shows the trade interface, /fhir/metadata what the FHIR interface offers.
        """;
}
