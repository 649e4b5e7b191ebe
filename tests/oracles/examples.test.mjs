import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, it } from 'node:test';
import { checkDocument, checkFormats, checkInvariants, checkStructure, checkUnits } from './checks.mjs';
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
