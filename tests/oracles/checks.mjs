// One resource, asked by every outside library; counts the questions, so that the sum can be printed.
import assert from 'node:assert/strict';
import { after } from 'node:test';
import { documentFaults } from './documents.mjs';
import { askInvariants } from './invariants.mjs';
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
  const answer = askInvariants(resource);
  asked += answer.asked;
  none(answer.broken, nameOf(resource));
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
