import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, it } from 'node:test';
import { checkDocument, checkFormats, checkInvariants, checkRefused, checkStructure, checkUnits } from './checks.mjs';
import { root } from './paths.mjs';
import { toXml } from './structure.mjs';

const filesOf = folder => existsSync(join(root, folder)) ? readdirSync(join(root, folder))
  .filter(file => /^[A-Z][A-Za-z]+-.*\.json$/.test(file) && !file.endsWith('.expected.json'))
  .map(file => ({ file, json: JSON.parse(readFileSync(join(root, folder, file), 'utf8')) })) : [];

for (const folder of ['examples', 'profiles']) {
  describe(`the files of ${folder}/`, () => {
    for (const { file, json } of filesOf(folder)) {
      it(`${file} passes every outside check`, () => {
        checkStructure(json);
        checkFormats(json, toXml(json));
        checkInvariants(json);
        checkUnits(json);
        if (json.resourceType === 'Bundle' && json.type === 'document') checkDocument(json);
      });
    }
  });
}

describe('the files of examples/invalid/ that break a rule of our profiles', () => {
  for (const { file, json } of filesOf('examples/invalid')) {
    const expected = JSON.parse(readFileSync(join(root, 'examples/invalid', file.replace(/json$/, 'expected.json')), 'utf8'));
    const key = /\brr-[a-z0-9-]+/.exec(expected.messageContains)?.[0];
    if (key) it(`${file} breaks ${key}`, () => checkRefused(json, key));
  }
});
