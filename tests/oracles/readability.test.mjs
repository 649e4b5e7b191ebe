// The reading age of a home sheet comes from a formula of ours; a library with the same formula says whether it is right.
// The service's own tests read the same table, so that both sides count and compute the same.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { describe, it } from 'node:test';
import { automatedReadability } from 'automated-readability';

const table = JSON.parse(readFileSync(new URL('readability.json', import.meta.url), 'utf8'));

describe('automated readability', () => {
  for (const row of table)
    it(`agrees on ${row.why}`, () => {
      const words = row.text.split(/\s+/).filter(word => /[\p{L}\p{N}]/u.test(word));
      assert.equal(words.length, row.word);
      assert.equal(row.text.match(/[\p{L}\p{N}]/gu).length, row.character);
      assert.equal(row.text.split(/[.!?;:\n]+/).filter(part => /[\p{L}\p{N}]/u.test(part)).length, row.sentence);
      assert.ok(Math.abs(automatedReadability(row) - row.grade) < 1e-9, `${automatedReadability(row)} and ${row.grade}`);
    });
});
