// The error-severity invariants of FHIR R4, read from the official specification zip that NuGet fetched
// for the build, without using anything of the service.
import { readFileSync } from 'node:fs';
import { homedir } from 'node:os';
import { join } from 'node:path';
import { inflateRawSync } from 'node:zlib';
import { root } from './paths.mjs';

function specificationZip() {
  const props = readFileSync(join(root, 'Directory.Packages.props'), 'utf8');
  const version = /Hl7\.Fhir\.Specification\.Data\.R4" Version="([^"]+)"/.exec(props)[1];
  const packages = process.env.NUGET_PACKAGES ?? join(homedir(), '.nuget', 'packages');
  return join(packages, 'hl7.fhir.specification.data.r4', version, 'contentFiles', 'any', 'any', 'specification.zip');
}

/** Reads one member of a zip file (no zip64, stored or deflated: all that this zip needs). */
function member(zip, name) {
  const end = zip.lastIndexOf(Buffer.from('PK\x05\x06', 'latin1'));
  let at = zip.readUInt32LE(end + 16);
  for (let left = zip.readUInt16LE(end + 10); left > 0; left--) {
    const nameLength = zip.readUInt16LE(at + 28);
    if (zip.toString('utf8', at + 46, at + 46 + nameLength) === name) {
      const local = zip.readUInt32LE(at + 42);
      const start = local + 30 + zip.readUInt16LE(local + 26) + zip.readUInt16LE(local + 28);
      const bytes = zip.subarray(start, start + zip.readUInt32LE(at + 20));
      return (zip.readUInt16LE(at + 10) === 0 ? bytes : inflateRawSync(bytes)).toString('utf8');
    }
    at += 46 + nameLength + zip.readUInt16LE(at + 30) + zip.readUInt16LE(at + 32);
  }
  throw new Error(`${name} is not in the specification zip`);
}

const unescaped = text => text
  .replaceAll('&lt;', '<').replaceAll('&gt;', '>').replaceAll('&quot;', '"').replaceAll('&apos;', "'")
  .replace(/&#x([0-9a-f]+);/gi, (_, hex) => String.fromCodePoint(parseInt(hex, 16)))
  .replace(/&#(\d+);/g, (_, code) => String.fromCodePoint(Number(code))).replaceAll('&amp;', '&');

const valueOf = (xml, tag) => new RegExp(`<${tag} value="([^"]*)"\\s*/>`).exec(xml)?.[1];

/** @returns {{type: string, kind: string, path: string, key: string, human: string, expression: string}[]} */
export function invariants() {
  const zip = readFileSync(specificationZip());
  const found = [];
  for (const file of ['profiles-resources.xml', 'profiles-types.xml']) {
    for (const [definition] of member(zip, file).matchAll(/<StructureDefinition[ >][\s\S]*?<\/StructureDefinition>/g)) {
      if (valueOf(definition, 'derivation') === 'constraint') continue;
      const snapshot = definition.slice(definition.indexOf('<snapshot>'), definition.indexOf('</snapshot>'));
      const type = valueOf(definition, 'type');
      const kind = valueOf(definition, 'kind');
      for (const [element] of snapshot.matchAll(/<element id=[\s\S]*?<\/element>/g)) {
        const path = valueOf(element, 'path').replace('[x]', '');
        for (const [constraint] of element.matchAll(/<constraint>[\s\S]*?<\/constraint>/g)) {
          const expression = valueOf(constraint, 'expression');
          const source = valueOf(constraint, 'source');
          if (source && !source.endsWith(`/${type}`)) continue; // inherited: met where it is defined
          if (valueOf(constraint, 'severity') !== 'error' || !expression) continue;
          found.push({ type, kind, path, key: valueOf(constraint, 'key'), human: unescaped(valueOf(constraint, 'human') ?? ''), expression: unescaped(expression) });
        }
      }
    }
  }
  return found;
}
