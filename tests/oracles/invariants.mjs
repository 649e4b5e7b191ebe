// Evaluates the official invariants on a second FHIRPath engine.
import fhirpath from 'fhirpath';
import r4 from 'fhirpath/fhir-context/r4/index.js';
import { invariants } from './specification.mjs';

// The first two ask for a function that only some engines have (XHTML is checked by the official XML schema elsewhere);
// the other two hold regular expressions that JavaScript does not take.
const NOT_HERE = new Set(['txt-1', 'txt-2', 'eld-16', 'eld-19']);
const NOT_DOMAIN_RESOURCES = ['Bundle', 'Binary', 'Parameters'];
const options = { traceFn: () => {} };

/** Where a rule is asked. The engine gives extensions no type, so they are found by name. */
function placesOf({ type, kind, path }) {
  const below = path.split('.').slice(1).map(name => `.${name}`).join('');
  if (kind === 'resource') return `%resource${below}`;
  return type === 'Extension' ? '%resource.combine(%resource.descendants()).extension' : `%resource.descendants().ofType(FHIR.${type})${below}`;
}

// R4 leaves open what an empty answer means; as in other engines only a definite "false" breaks a rule.
const rules = invariants()
  .filter(rule => !NOT_HERE.has(rule.key) && rule.type !== 'Element')
  .map(rule => {
    const places = placesOf(rule);
    const expression = rule.expression.replace(/\.as\((\w+)\)/g, '.ofType($1)'); // R4 wrote "as" where FHIRPath now wants ofType
    return {
      ...rule,
      count: fhirpath.compile(`${places}.count()`, r4, options),
      broken: fhirpath.compile(`${places}.where((${expression}) = false).count()`, r4, options),
    };
  });

const appliesTo = resource => rule =>
  rule.kind !== 'resource' || rule.type === resource.resourceType
  || rule.type === 'DomainResource' && !NOT_DOMAIN_RESOURCES.includes(resource.resourceType);

/** ele-1, walked by hand, since the engine has no common type for every element. */
function emptyElements(node, path, found) {
  if (Array.isArray(node)) node.forEach((child, i) => emptyElements(child, `${path}[${i}]`, found));
  else if (node && typeof node === 'object') {
    if (Object.keys(node).every(name => name === 'id')) found.push(path);
    for (const [name, child] of Object.entries(node)) emptyElements(child, `${path}.${name}`, found);
  } else if (node === '') found.push(path);
  return found;
}

/**
 * @returns {{asked: number, broken: string[]}} how often a rule met an element to ask about, and what was broken.
 * The entries of a Bundle are asked each by itself as well.
 */
export function askInvariants(resource) {
  const broken = emptyElements(resource, resource.resourceType, []).map(path => `${path}: ele-1 empty element`);
  let asked = 1;
  const root = structuredClone(resource);
  const context = { resource: root, rootResource: root, ucum: 'http://unitsofmeasure.org' };
  for (const rule of rules.filter(appliesTo(resource))) {
    const [count] = rule.count(root, context);
    if (count === 0) continue;
    asked += count;
    if (rule.broken(root, context)[0] > 0) broken.push(`${resource.resourceType}/${resource.id}: ${rule.key} ${rule.human}`);
  }
  for (const entry of resource.entry ?? []) {
    if (!entry.resource) continue;
    const inner = askInvariants(entry.resource);
    asked += inner.asked;
    broken.push(...inner.broken);
  }
  return { asked, broken };
}
