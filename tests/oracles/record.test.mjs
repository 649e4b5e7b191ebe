import assert from 'node:assert/strict';
import { describe, it } from 'node:test';
import { checkDocument, checkFormats, checkInvariants, checkStructure, checkUnits } from './checks.mjs';
import { record } from './record.mjs';

const byType = new Map();
for (const found of [record.metadata, ...record.resources, ...record.documents, ...record.exchanges])
  byType.set(found.json.resourceType, [...(byType.get(found.json.resourceType) ?? []), found]);

console.log(`${record.resources.length} resources and ${record.documents.length} documents came from the demo`);

describe('what the demo stored', () => {
  it('has every kind of resource that the demo clinic makes', () => {
    for (const type of ['Patient', 'RelatedPerson', 'Flag', 'ActivityDefinition', 'PlanDefinition', 'CarePlan', 'ServiceRequest', 'Procedure', 'Observation', 'Goal', 'AdverseEvent', 'Composition'])
      assert.ok(byType.has(type), `no ${type} in the store; kinds found: ${[...byType.keys()].join(', ')}`);
  });

  it('has a note for each of the seven people, and the summary of one discharge', () => assert.equal(record.documents.length, 8));

  it('hands over the programme of each of the seven people', () => assert.equal(record.exchanges.length, 7));

  for (const [type, found] of byType) {
    describe(`${type} (${found.length})`, () => {
      it('has the structure of R4', () => found.forEach(({ json }) => checkStructure(json)));
      it('says the same in JSON and in XML', () => found.forEach(({ json, xml }) => checkFormats(json, xml)));
      it('keeps the official invariants and our own rules', () => found.forEach(({ json }) => checkInvariants(json)));
      it('uses valid UCUM units', () => found.forEach(({ json }) => checkUnits(json)));
    });
  }

  it('has documents that are whole and hold nothing else', () => [...record.documents, ...record.exchanges].forEach(({ json }) => checkDocument(json)));
});
