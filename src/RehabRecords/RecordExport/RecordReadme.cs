using System.Text;

namespace RehabRecords.RecordExport;

/// <summary>What a person who finds the zip in ten years needs to know, in plain words.</summary>
internal static class RecordReadme
{
    public static byte[] Of(string person, DateTimeOffset at, Uri source) => Encoding.UTF8.GetBytes($"""
        THE RECORD OF ONE PERSON

        This zip holds everything that the rehabilitation record kept about one person, as it
        was on {at.UtcDateTime:yyyy-MM-dd} at {at.UtcDateTime:HH:mm:ss} UTC.

          Person (number in the record)   {person}
          Came from                       {source}

        It is confidential. Whoever has the file can read it: keep it as you would keep paper notes.

        TO READ IT

          documents/   Notes and summaries. Open the .html files in a web browser: they need no other
                       program and no network. The .json file of the same name is the same document with
                       everything it rests on, for other systems (a FHIR document Bundle).
                       A page marked DRAFT was never signed.

        FOR OTHER SYSTEMS

          record/      What is about the person, one file for each kind of entry. One line is one version
                       of one entry, as HL7 FHIR R4 JSON, exactly as it was kept. Corrected and replaced
                       versions are all there.
          referred/    What these entries refer to and is about nobody: clinicians, organisations,
                       exercises and templates as prescribed, files.
          deletions.ndjson   What was deleted and when, one line for each deletion.
          order.txt    In which order all of it was written, one version a line.

        TO CHECK IT

          manifest.json      Every file with its length and its SHA-256 digest, and how many entries it has.
          manifest.sha256    The digest of the manifest itself.

        "RehabRecords verify-record <this file>" checks all of it and says what is wrong. Without that
        program: unpack the zip, run "sha256sum -c manifest.sha256", and compare the digests in
        manifest.json with those that sha256sum gives for the files.
        "RehabRecords import-record <this file>" rebuilds the record in an empty store.

        The digests find damage and careless change. They cannot prove who made the file: note the digest
        in manifest.sha256 somewhere else when you hand the file over, and compare it when it comes back.

        """.ReplaceLineEndings("\n"));
}
