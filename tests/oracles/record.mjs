// Starts the built service in demo mode, reads back everything it stores
// and every note as a document, in JSON and in XML, and stops it again.
import { started } from './service.mjs';

async function get(url, accept) {
  const answer = await fetch(url, { headers: { accept } });
  const text = await answer.text();
  if (!answer.ok) throw new Error(`GET ${url} as ${accept}: ${answer.status}\n${text.slice(0, 2000)}`);
  return text;
}

const JSON_TYPE = 'application/fhir+json';
const XML_TYPE = 'application/fhir+xml';

/** Both formats of the same resource, as { where, json, xml }. */
async function both(where) {
  return { where, json: JSON.parse(await get(where, JSON_TYPE)), xml: await get(where, XML_TYPE) };
}

async function allOf(base, type) {
  const found = [];
  for (let page = `${base}/fhir/${type}?_count=50`; page;) {
    const bundle = JSON.parse(await get(page, JSON_TYPE));
    for (const entry of bundle.entry ?? []) found.push(await both(`${base}/fhir/${type}/${entry.resource.id}`));
    page = bundle.link?.find(link => link.relation === 'next')?.url;
  }
  return found;
}

const TEAM = { system: 'https://directory.example/id/organisation', value: 'pebblewick-vale' };

/** Every programme of a person as it is handed to another team, once the person has agreed. */
async function handedOver(base, person) {
  const agreed = await fetch(`${base}/api/people/${person.id}/consents`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ decision: 'permit', recipient: { name: 'Pebblewick Vale Community Team', identifier: TEAM }, recordedBy: { name: 'Rowan Invented', role: 'physiotherapist' } }),
  });
  if (!agreed.ok) throw new Error(`the consent of ${person.id}: ${agreed.status}\n${await agreed.text()}`);
  const programmes = JSON.parse(await get(`${base}/api/programmes?person=${person.id}`, 'application/json'));
  return Promise.all(programmes.map(({ id }) => both(`${base}/api/programmes/${id}/exchange?recipient=${encodeURIComponent(`${TEAM.system}|${TEAM.value}`)}`)));
}

async function readEverything() {
  const { base, stop } = await started();
  try {
    const metadata = await both(`${base}/fhir/metadata`);
    const types = metadata.json.rest[0].resource.filter(kind => ['search-type', 'vread'].every(needed => kind.interaction.some(({ code }) => code === needed))).map(kind => kind.type);
    const resources = [];
    for (const type of types) resources.push(...await allOf(base, type));
    const people = JSON.parse(await get(`${base}/api/people`, 'application/json'));
    const documents = [];
    const exchanges = [];
    for (const person of people) {
      const notes = JSON.parse(await get(`${base}/api/notes?person=${person.id}`, 'application/json'));
      for (const note of notes) documents.push(await both(`${base}/api/notes/${note.id}`));
      exchanges.push(...await handedOver(base, person));
    }
    return { metadata, types, resources, documents, exchanges };
  } finally {
    await stop();
  }
}

export const record = await readEverything();
