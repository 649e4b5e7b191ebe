import assert from 'node:assert/strict';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { after, describe, it } from 'node:test';
import { documentFaults } from './documents.mjs';
import { askInvariants } from './invariants.mjs';
import { root } from './paths.mjs';
import { record } from './record.mjs';
import { formatDifferences, structureErrors, toXml } from './structure.mjs';
import { unitErrors } from './units.mjs';

let checks = 0;
after(() => console.log(`# ${checks} outside checks on ${record.resources.length} resources and ${record.documents.length} documents`));

const name = ({ json }) => `${json.resourceType}/${json.id}`;
const none = (faults, about) => assert.deepEqual(faults, [], about);
const stored = [record.metadata, ...record.resources, ...record.documents];
const byType = Map.groupBy ? Map.groupBy(stored, r => r.json.resourceType)
  : stored.reduce((map, r) => map.set(r.json.resourceType, [...(map.get(r.json.resourceType) ?? []), r]), new Map());

const exampleFiles = folder => readdirSync(join(root, folder)).filter(file => /^[A-Z][A-Za-z]+-.*\.json$/.test(file) && !file.endsWith('.expected.json'))
  .map(file => ({ file, json: JSON.parse(readFileSync(join(root, folder, file), 'utf8')) }));

describe('what the demo stored', () => {
  it('has every kind of resource that the demo clinic makes', () => {
    for (const type of ['Patient', 'RelatedPerson', 'Flag', 'ActivityDefinition', 'PlanDefinition', 'CarePlan', 'ServiceRequest', 'Procedure', 'Observation', 'Goal', 'AdverseEvent', 'Composition'])
      assert.ok(byType.has(type), `no ${type} in the store; kinds found: ${[...byType.keys()].join(', ')}`);
  });

  it('has a document for every person', () => assert.ok(record.documents.length >= 7, `${record.documents.length} documents`));

  for (const [type, resources] of byType) {
    describe(`${type} (${resources.length})`, () => {
      it('has the structure of R4', () => resources.forEach(r => { checks++; none(structureErrors(r.json), name(r)); }));
      it('says the same in JSON and in XML', () => resources.forEach(r => { checks++; none(formatDifferences(r.json, r.xml), name(r)); }));
      it('keeps the official invariants', () => resources.forEach(r => {
        const { asked, broken } = askInvariants(r.json);
        checks += asked;
        none(broken, name(r));
      }));
      it('uses valid UCUM units', () => resources.forEach(r => {
        const { asked, wrong } = unitErrors(r.json);
        checks += asked;
        none(wrong, name(r));
      }));
    });
  }

  it('has documents that are whole and hold nothing else', () => record.documents.forEach(r => { checks++; none(documentFaults(r.json), r.where); }));
});

describe('the files of examples/', () => {
  for (const { file, json } of exampleFiles('examples')) {
    it(`${file} passes every outside check`, () => {
      checks += 2;
      none(structureErrors(json), 'structure');
      none(formatDifferences(json, toXml(json)), 'through XML and back');
      for (const { asked, broken, wrong } of [askInvariants(json), unitErrors(json)]) {
        checks += asked;
        none(broken ?? wrong, 'invariants or units');
      }
      if (json.resourceType === 'Bundle' && json.type === 'document') none(documentFaults(json), 'document');
    });
  }
});
