// Structure, required codes and the JSON/XML mapping, by a library that shares no code with the service.
import { Fhir } from 'fhir';

const fhir = new Fhir();

/** @returns {string[]} errors; its warnings are about value sets that it does not carry */
export function structureErrors(resource) {
  return fhir.validate(structuredClone(resource), { errorOnUnexpected: true }).messages
    .filter(message => message.severity === 'error' || message.severity === 'fatal')
    .map(message => `${message.location ?? ''} ${message.message}`.trim());
}

/** XHTML may write the same text in several ways: quotes as entities, empty elements, white space between words. */
const xhtml = text => text.replace(/ xmlns="[^"]*"/g, '')
  .replace(/&#x([0-9a-f]+);/gi, (_, hex) => String.fromCodePoint(parseInt(hex, 16))).replace(/&#(\d+);/g, (_, code) => String.fromCodePoint(Number(code)))
  .replaceAll('&quot;', '"').replaceAll('&apos;', "'").replace(/\s*\/>/g, '/>').replace(/\s+/g, ' ').trim();

/** Everything as it is, whatever the order of the members. */
function canonical(node, name) {
  if (Array.isArray(node)) return node.map(child => canonical(child, name));
  if (node && typeof node === 'object')
    return Object.fromEntries(Object.keys(node).sort().map(key => [key, canonical(node[key], key)]));
  return name === 'div' ? xhtml(String(node)) : node;
}

/** The library reads decimals of XML as text, so numbers are compared by value. */
function differences(left, right, path, found) {
  if (typeof left === 'object' && left && typeof right === 'object' && right) {
    for (const key of new Set([...Object.keys(left), ...Object.keys(right)])) differences(left[key], right[key], `${path}.${key}`, found);
  } else if (left !== right && !(typeof left === 'number' && Number(right) === left)) found.push(`${path}: ${JSON.stringify(left)} in JSON, ${JSON.stringify(right)} in XML`);
  return found;
}

/** Reads our XML with the other library and compares it with our JSON. */
export const formatDifferences = (json, xml) => differences(canonical(json), canonical(fhir.xmlToObj(xml)), json.resourceType, []);

export const toXml = resource => fhir.objToXml(structuredClone(resource));
