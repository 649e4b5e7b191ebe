namespace RehabRecords.Commands;

internal static class Usage
{
    public const string Text = """
        RehabRecords: home programmes for arm and hand recovery after stroke, as FHIR R4.
        Session results are posted; a draft progress note, each sentence traceable, comes back.

          dotnet run --project src/RehabRecords                  serve the store in ./data
          dotnet run --project src/RehabRecords -- demo          load an invented clinic, show the notes, keep serving
          dotnet run --project src/RehabRecords -- demo --once   the same, then stop
          dotnet run --project src/RehabRecords -- help          this text

        Options
          --data FOLDER   where the store is kept (default: data; for the demo: data/demo)
          --urls URL      where to listen (default: http://127.0.0.1:5080)
          --Section:Name VALUE   any other setting, such as --RehabRecords:TimeZone Europe/Dublin

        While it runs: /docs shows the trade interface, /fhir/metadata what the FHIR interface offers.
        """;
}
