// The rules that profiles/ adds to R4, asked on the second engine. What the service's validator makes of them is its own affair.
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import fhirpath from 'fhirpath';
import r4 from 'fhirpath/fhir-context/r4/index.js';
import { root } from './paths.mjs';

const profiles = readdirSync(join(root, 'profiles')).filter(file => file.startsWith('StructureDefinition-'))
  .map(file => JSON.parse(readFileSync(join(root, 'profiles', file), 'utf8')));

/** A slice of components is told by its code, a slice of extensions by its url. */
function step(profile, id, segment) {
  const [name, slice] = segment.replace('[x]', '').split(':');
  if (!slice) return name;
  if (name === 'extension') return `extension.where(url = '${slice}')`;
  const { system, code } = profile.differential.element.find(element => element.id === `${id}.code`).patternCodeableConcept.coding[0];
  return `${name}.where(code.coding.where(system = '${system}' and code = '${code}').exists())`;
}

function placesOf(profile, id) {
  const segments = id.split('.').slice(1);
  const steps = segments.map((segment, i) => step(profile, id.split('.').slice(0, i + 2).join('.'), segment));
  const start = profile.type === 'Extension' ? `%resource.combine(%resource.descendants()).extension.where(url = '${profile.url}')` : '%resource';
  return [start, ...steps].join('.');
}

const rules = profiles.flatMap(profile => profile.differential.element.flatMap(({ id, constraint = [] }) => constraint.map(({ key, human, expression }) => ({
  profile, key, human,
  count: fhirpath.compile(`${placesOf(profile, id)}.count()`, r4),
  broken: fhirpath.compile(`${placesOf(profile, id)}.where((${expression}) = false).count()`, r4),
}))));

export const ruleCount = rules.length;

/** A rule that cannot be worked out (text compared with a number, say) is not kept. */
function holds(isBroken, context) {
  try {
    return isBroken(context.resource, context)[0] === 0;
  } catch {
    return false;
  }
}

/** @returns {{asked: number, broken: string[]}} */
export function askOwnRules(resource) {
  const broken = [];
  let asked = 0;
  const context = { resource: structuredClone(resource) };
  for (const { profile, key, human, count, broken: isBroken } of rules) {
    if (profile.type !== 'Extension' && !resource.meta?.profile?.includes(profile.url)) continue;
    const [places] = count(context.resource, context);
    asked += places;
    if (places > 0 && !holds(isBroken, context)) broken.push(`${resource.resourceType}/${resource.id}: ${key} ${human}`);
  }
  for (const { resource: inner } of resource.entry ?? []) {
    if (!inner) continue;
    const below = askOwnRules(inner);
    asked += below.asked;
    broken.push(...below.broken);
  }
  return { asked, broken };
}
