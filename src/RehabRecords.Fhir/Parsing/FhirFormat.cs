namespace RehabRecords.Fhir.Parsing;

public enum FhirFormat
{
    Json,
    Xml,
}
