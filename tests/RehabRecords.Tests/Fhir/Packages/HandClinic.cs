namespace RehabRecords.Tests.Fhir.Packages;

/// <summary>An invented package of a clinic that does not exist: a profile without snapshot, its extension and its codes.</summary>
internal static class HandClinic
{
    public const string Canonicals = "https://hand-clinic.example/fhir/";
    public const string Pinch = Canonicals + "StructureDefinition/pinch";

    public static (string Name, string Json)[] Files =>
    [
        ("StructureDefinition-pinch.json", Profile("pinch", "Observation", """
            {"id":"Observation.extension:splint","path":"Observation.extension","sliceName":"splint","min":1,"max":"1",
             "type":[{"code":"Extension","profile":["https://hand-clinic.example/fhir/StructureDefinition/splint"]}]},
            {"id":"Observation.value[x]","path":"Observation.value[x]","type":[{"code":"Quantity"}],
             "constraint":[{"key":"hc-1","severity":"error","human":"A pinch is not negative.","expression":"value >= 0"}]},
            {"id":"Observation.method","path":"Observation.method","min":1,"binding":{"strength":"required","valueSet":"https://hand-clinic.example/fhir/ValueSet/grip"}}
            """)),
        ("StructureDefinition-splint.json", Extension("splint")),
        ("ValueSet-grip.json", """
            {"resourceType":"ValueSet","url":"https://hand-clinic.example/fhir/ValueSet/grip","version":"1.0.0","status":"active",
             "compose":{"include":[{"system":"https://hand-clinic.example/fhir/CodeSystem/grip"}]}}
            """),
        ("CodeSystem-grip.json", """
            {"resourceType":"CodeSystem","url":"https://hand-clinic.example/fhir/CodeSystem/grip","version":"1.0.0","status":"active","content":"complete",
             "concept":[{"code":"tip","display":"Tip to tip"},{"code":"key","display":"Like a key"}]}
            """),
        // What packages also hold, and what is passed over.
        ("Patient-example.json", """{"resourceType":"Patient","nonsense":true}"""),
        (".index.json", "{\"index-version\":1}"),
    ];

    public static byte[] Tgz => PackageFiles.Tgz(Files);

    public static string Profile(string id, string type, string differential, string? basis = null, string more = "") => $$$"""
        {"resourceType":"StructureDefinition","id":"{{{id}}}","url":"{{{Canonicals}}}StructureDefinition/{{{id}}}","version":"1.0.0","name":"X","status":"active",
         "fhirVersion":"4.0.1","kind":"resource","abstract":false,"type":"{{{type}}}","baseDefinition":"{{{basis ?? "http://hl7.org/fhir/StructureDefinition/" + type}}}",{{{more}}}
         "derivation":"constraint","differential":{"element":[{{{differential}}}]}}
        """;

    public static string Extension(string id, string version = "1.0.0") => $$$"""
        {"resourceType":"StructureDefinition","id":"{{{id}}}","url":"{{{Canonicals}}}StructureDefinition/{{{id}}}","version":"{{{version}}}","name":"X","status":"active",
         "fhirVersion":"4.0.1","kind":"complex-type","abstract":false,"context":[{"type":"element","expression":"Observation"}],"type":"Extension",
         "baseDefinition":"http://hl7.org/fhir/StructureDefinition/Extension","derivation":"constraint","differential":{"element":[
         {"id":"Extension.url","path":"Extension.url","fixedUri":"{{{Canonicals}}}StructureDefinition/{{{id}}}"},
         {"id":"Extension.value[x]","path":"Extension.value[x]","min":1,"type":[{"code":"boolean"}]}]}}
        """;

    public static string Observation(string? splint = "true", string method = "tip", string value = "3", string? claim = Pinch) => $$$"""
        {"resourceType":"Observation",{{{(claim is null ? "" : $$$"""
        "meta":{"profile":["{{{claim}}}"]},
        """)}}}{{{(splint is null ? "" : $$$"""
        "extension":[{"url":"{{{Canonicals}}}StructureDefinition/splint","valueBoolean":{{{splint}}}}],
        """)}}}
         "status":"final","code":{"text":"Pinch"},"subject":{"display":"Somebody"},"effectiveDateTime":"2026-01-05","method":{"coding":[{"system":"{{{Canonicals}}}CodeSystem/grip","code":"{{{method}}}"}]},
         "valueQuantity":{"value":{{{value}}},"unit":"kg","system":"http://unitsofmeasure.org","code":"kg"}}
        """;
}
