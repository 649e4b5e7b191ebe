using Hl7.Fhir.Model;
using RehabRecords.Terms;
using RehabRecords.Trade;

namespace RehabRecords.Exchange;

/// <summary>What is kept of one import: who sent what, and every version that came of it.</summary>
internal static class ImportProvenance
{
    private const string Operation = "http://terminology.hl7.org/CodeSystem/v3-DataOperation";
    private const string Participant = "http://terminology.hl7.org/CodeSystem/provenance-participant-type";

    public static Provenance Of(IncomingBundle incoming, IReadOnlyList<string> targets, string original, ResourceReference? by, string fhirBase, DateTimeOffset now) => new()
    {
        Target = [.. targets.Select(t => new ResourceReference(t))],
        Recorded = now,
        Activity = new CodeableConcept(Operation, "CREATE", "Taken in from another record"),
        Agent =
        [
            new() { Type = new CodeableConcept(Participant, "author"), Who = new ResourceReference { Identifier = new Identifier(Origin.System, incoming.Sender), Display = incoming.Sender } },
            new() { Type = new CodeableConcept(Participant, "assembler"), Who = new ResourceReference { Identifier = new Identifier(Origin.System, fhirBase), Display = "RehabRecords" } },
            .. by is null ? Array.Empty<Provenance.AgentComponent>() : [new() { Type = new CodeableConcept(Participant, "verifier"), Who = by }],
        ],
        Entity =
        [
            new()
            {
                Role = Provenance.ProvenanceEntityRole.Source,
                What = new ResourceReference(original) { Identifier = (Identifier?)incoming.Bundle.Identifier?.DeepCopy() },
            },
        ],
        Text = Readable.Of($"Taken in from {incoming.Sender}: {targets.Count} {(targets.Count == 1 ? "version" : "versions")}."),
    };

    /// <summary>Whether it tells of an import; those are the receiver's own affair and are not sent on.</summary>
    public static bool IsOne(Provenance provenance) =>
        provenance.Activity.CodeIn(Operation) is not null && provenance.Entity.Exists(e => e.Role == Provenance.ProvenanceEntityRole.Source && e.What.Reference?.StartsWith("Binary/", StringComparison.Ordinal) == true);
}
