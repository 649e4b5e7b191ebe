// One resource, asked by every outside library; counts the questions, so that the sum can be printed.
import assert from 'node:assert/strict';
import { after } from 'node:test';
import { documentFaults } from './documents.mjs';
import { askInvariants } from './invariants.mjs';
import { askOwnRules } from './own-rules.mjs';
import { formatDifferences, structureErrors } from './structure.mjs';
import { unitErrors } from './units.mjs';

let asked = 0;
after(() => console.log(`${asked} outside checks`));

const none = (faults, about) => assert.deepEqual(faults, [], about);
const nameOf = resource => `${resource.resourceType}/${resource.id}`;

export function checkStructure(resource) {
  asked++;
  none(structureErrors(resource), nameOf(resource));
}

export function checkFormats(resource, xml) {
  asked++;
  none(formatDifferences(resource, xml), nameOf(resource));
}

export function checkInvariants(resource) {
  for (const answer of [askInvariants(resource), askOwnRules(resource)]) {
    asked += answer.asked;
    none(answer.broken, nameOf(resource));
  }
}

/** An invalid example must break the rule of ours that it is there for. */
export function checkRefused(resource, key) {
  asked++;
  const { broken } = askOwnRules(resource);
  assert.ok(broken.some(text => text.includes(`: ${key} `)), `${nameOf(resource)} keeps ${key}; broken: ${broken.join('; ') || 'nothing'}`);
}

export function checkUnits(resource) {
  const answer = unitErrors(resource);
  asked += answer.asked;
  none(answer.wrong, nameOf(resource));
}

export function checkDocument(bundle) {
  asked++;
  none(documentFaults(bundle), nameOf(bundle));
}
