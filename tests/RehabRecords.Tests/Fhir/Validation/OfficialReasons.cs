using RehabRecords.Fhir;

namespace RehabRecords.Tests.Fhir.Validation;

/// <summary>
/// What each bad case is bad for, from reading the case: the issue type, the element and a word of the sentence that must be
/// among what is said. A refusal for anything else would be luck.
/// </summary>
internal static class OfficialReasons
{
    private static readonly Dictionary<string, string[]> Rows = Table.Split('\n', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)
        .Select(row => row.Split('|', StringSplitOptions.TrimEntries)).ToDictionary(row => row[0], row => row[1..], StringComparer.Ordinal);

    // case | issue type | element starts with | the sentence holds
    private const string Table = """
        ai3.json | Value | Patient.unknownElement | unknown element
        ai4.json | Value | Patient.birthDate | not a date
        ai7.json | Required | StructureDefinition.status | must be present
        ai8.json | Required | StructureDefinition.status | must be present
        attachment-with-invalid-binary.json | Value | Media.content.data | Base64
        bad-json-close-1.json | Structure | Bundle.entry[0].resource.name[0] | line 15
        bad-json-close-2.json | Structure | Bundle.entry[0].resource.name[0] | line 15
        bad-json-close-3.json | Structure | Bundle.entry[0].resource.name[0] | line 16
        bundle-dual-subject.xml | Value | Bundle.entry[0].resource.subject | single Reference
        bundle-dual-target.xml | Required | Bundle.entry[0].resource.status | must be present
        contained-resource.json | Value | Condition.contained[0].id | correct literal for a id
        empty-array.json | Structure | DocumentReference.category[0].coding | array is empty
        encounter-period.json | Invariant | Encounter.period | per-1
        json-comma-bad-1.json | Structure | Patient.name[0] | line 7
        json-comma-bad-2.json | Structure | Patient.name[0].given | line 9
        json-comments.json | Value | Patient.fhir_comments | unknown element
        json-no-quotes-1.json | Structure | Resource | line 2
        json-no-quotes-2.json | Structure | Patient.name[0].given | line 8
        list-xhtml-empty.xml | Structure | List.text.div | says nothing
        Observation-ex-pain.json | Value | Observation.value | unknown element 'value'
        Observation-ex-pain.xml | Structure | | element value on line 5
        obs-quantity.json | Required | Observation.code | must be present
        obs-temp-bad.json | NotSupported | Observation.meta.profile | ObservationBodyTemperaturePrehospital
        obs-unit-profile.json | Required | StructureDefinition.name | must be present
        parameters-attachment.json | Value | Parameters.parameter[0].value.data | Base64
        parameters-reference-bad.json | NotFound | Parameters.parameter[2].resource.beneficiary | Patient/2
        pat-security-bad-string2.xml | Value | Patient.name[0].text.script | unknown element 'script'
        pat-security-bad-xhtml.json | Structure | Patient.text.div | element script
        patient-extension-bad2.xml | Value | Patient.extension[0].url | uri
        patient-extension-bad3.xml | Required | Patient.extension[0].url | must be present
        patient-extension-complex-bad1.xml | Required | Patient.extension[0].extension | 'species'
        patient-id-bad-1.json | Value | Patient.id | correct literal for a id
        patient-id-bad-2.json | Value | Patient.id | correct literal for a id
        patient-id-bad-3.json | Value | Patient.id | correct literal for a id
        patient-id-only.xml | Invariant | Patient.implicitRules | ele-1
        profile-default-value.xml | Invariant | StructureDefinition | sdf-21
        profile-missing-elements.xml | Required | StructureDefinition.differential.element[0].slicing.discriminator[0].path | must be present
        profile-repeated-type.xml | Invariant | StructureDefinition.differential[0].element[0] | eld-13
        resource-invalid-id-1.json | Value | Location.id | correct literal for a id
        resource-invalid-id-2.json | Value | Location.id | correct literal for a id
        resource-invalid-id-3.json | Value | Location.contained[0].id | correct literal for a id
        synthea.json | Value | Encounter.reasonCode | collection of CodeableConcept
        xml-fail.xml | Structure | Bundle.type | unexpected
        attachment-with-wrong-size.json | Value | Media.content | 100 bytes
        bad-bundle-reference-type.xml | Value | Bundle.entry[0].resource.generalPractitioner[0] | Organization
        bundle-document-versioned-references-bad.json | NotFound | Bundle.entry[0].resource.section[0].entry[0] | version 3
        bundle-duplicate-id.json | Value | Bundle.entry[0].fullUrl | relative
        bundle-id-search-2.json | Duplicate | Bundle | link self
        bundle-id-search-3.json | Required | Bundle.entry[0].resource | has an id
        bundle-id-search-4.json | Value | Bundle.entry[0].search.mode | outcome
        bundle-with-contained.json | Value | Bundle.entry[0].fullUrl | does not agree
        json-comments-1.json | Structure | Resource | no comments
        json-comments-2.json | Structure | Patient | no comments
        mni-patientOverview-bundle-example1.json | Value | Bundle.entry[0].fullUrl | relative
        mni-patientOverview-bundle-example1b.json | Value | Bundle.entry[0].fullUrl | relative
        pat-security-bad-string.json | Security | Patient.name[0].text | <script>
        pat-security-bad-string1.xml | Security | Patient.name[0].text | <script>
        patient-extension-bad.xml | Value | Patient.extension[0] | not absolute
        patient-extension-complex-bad2.xml | Value | Patient.extension[0].extension[1] | species-x
        relative_reference_to_TYPE_ID.all_fullUrl_UUID.xml | Value | Bundle.entry[0].resource.author[0] | no meaning
        relative_reference_to_fullUrl.id_in_Composition.xml | Value | Bundle.entry[1].fullUrl | does not agree
        relative_reference_to_fullUrl.id_in_target_resource.xml | Value | Bundle.entry[0].fullUrl | does not agree
        relative_reference_to_fullUrl.no_ids.PROBLEM.xml | Value | Bundle.entry[0].fullUrl | does not agree
        xml-bad-entities.json | Structure | Encounter.text.div | entity 'reg'
        xml-bad-entities.xml | Structure | Encounter.text.div | entity 'reg'
        """;

    public static bool Fits(string name, IReadOnlyList<Issue> errors) =>
        Rows.TryGetValue(name, out var row)
        && errors.Any(e => e.Code.ToString() == row[0] && e.Expression.StartsWith(row[1], StringComparison.Ordinal) && e.Message.Contains(row[2], StringComparison.OrdinalIgnoreCase));
}
