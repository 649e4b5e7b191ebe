// Would these checks see a fault? Each row is a resource with one thing wrong, and the words that must be said about it.
import assert from 'node:assert/strict';
import { describe, it } from 'node:test';
import { documentFaults } from './documents.mjs';
import { askInvariants } from './invariants.mjs';
import { formatDifferences, structureErrors, toXml } from './structure.mjs';
import { unitErrors } from './units.mjs';

const observation = more => ({ resourceType: 'Observation', id: 'o', status: 'final', code: { text: 'pegs' }, ...more });
const composition = { resourceType: 'Composition', id: 'c', subject: { reference: 'Patient/p' } };
const bundle = (...entry) => ({ resourceType: 'Bundle', type: 'document', entry });
const at = resource => ({ fullUrl: `http://here.example/fhir/${resource.resourceType}/${resource.id}`, resource });
const patient = id => ({ resourceType: 'Patient', id });

const rows = [
  ['a code outside its list', structureErrors(observation({ status: 'done' })), /status/],
  ['a member that R4 does not have', structureErrors(observation({ value: 3 })), /Unexpected/],
  ['a missing code', structureErrors({ resourceType: 'Observation', id: 'o', status: 'final' }), /Missing/],
  ['another status in XML', formatDifferences(observation(), toXml(observation({ status: 'amended' }))), /amended/],
  ['another number in XML', formatDifferences(observation({ valueInteger: 3 }), toXml(observation({ valueInteger: 4 }))), /valueInteger/],
  ['a value and a reason for its absence', askInvariants(observation({ valueInteger: 1, dataAbsentReason: { text: 'x' } })).broken, /obs-6/],
  ['a unit code without its system', askInvariants(observation({ valueQuantity: { value: 1, code: 's' } })).broken, /qty-3/],
  ['a unit code without its system, inside a document', askInvariants(bundle(at(observation({ valueQuantity: { value: 1, code: 's' } })))).broken, /qty-3/],
  ['an extension with both value and parts', askInvariants(observation({ extension: [{ url: 'a', valueString: 'b', extension: [{ url: 'c', valueCode: 'd' }] }] })).broken, /ext-1/],
  ['a contained resource nobody refers to', askInvariants(observation({ contained: [patient('p')] })).broken, /dom-3/],
  ['an empty element', askInvariants(observation({ subject: {} })).broken, /ele-1/],
  ['a period that ends before it starts', askInvariants(observation({ effectivePeriod: { start: '2026-02-01', end: '2026-01-01' } })).broken, /per-1/],
  ['a unit that UCUM does not know', unitErrors(observation({ valueQuantity: { value: 1, system: 'http://unitsofmeasure.org', code: 'floops' } })).wrong, /floops/],
  ['a document that refers to what it does not hold', documentFaults(bundle(at(composition))), /Patient\/p, which is not in the document/],
  ['a document with something nobody refers to', documentFaults(bundle(at(composition), at(patient('p')), at(observation()))), /not reached/],
  ['a document about two people', documentFaults(bundle(at({ ...composition, author: [{ reference: 'Patient/q' }] }), at(patient('p')), at(patient('q')))), /2 people/],
  ['a document with another version than it names', documentFaults(bundle(at({ ...composition, subject: { reference: 'Patient/p/_history/2' } }), at({ ...patient('p'), meta: { versionId: '1' } }))), /as version 1/],
];

describe('the outside checks see', () => {
  for (const [fault, said, words] of rows) it(fault, () => assert.match(said.join('\n'), words));

  it('nothing wrong in a plain observation', () => {
    const plain = observation({ valueQuantity: { value: 1.5, unit: 's', system: 'http://unitsofmeasure.org', code: 's' } });
    assert.deepEqual([...structureErrors(plain), ...formatDifferences(plain, toXml(plain)), ...askInvariants(plain).broken, ...unitErrors(plain).wrong], []);
  });
});
