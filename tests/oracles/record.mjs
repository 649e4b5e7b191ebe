// Starts the built service in demo mode on a port and in a folder of its own, reads back everything it stores
// and every note as a document, in JSON and in XML, and stops it again.
import { spawn } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { root } from './paths.mjs';

const READY_WITHIN_MS = 120_000;
const program = process.env.REHAB_PROGRAM ?? join(root, 'artifacts', 'bin', 'RehabRecords', 'debug', 'RehabRecords.dll');
if (!existsSync(program)) throw new Error(`${program} is not there; build first: dotnet build`);

const freePort = () => new Promise((resolve, reject) => {
  const probe = createServer().once('error', reject).listen(0, '127.0.0.1', () => {
    const { port } = probe.address();
    probe.close(() => resolve(port));
  });
});

async function started() {
  const base = `http://127.0.0.1:${await freePort()}`;
  const folder = mkdtempSync(join(tmpdir(), 'rehab-oracles-'));
  const service = spawn('dotnet', [program, 'demo', '--urls', base, '--data', join(folder, 'data')], { stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  const ready = new Promise((resolve, reject) => {
    const late = setTimeout(() => reject(new Error(`the demo was not ready in ${READY_WITHIN_MS / 1000} s:\n${said}`)), READY_WITHIN_MS);
    const listen = chunk => {
      said += chunk;
      if (said.includes('Press Ctrl+C to stop')) { clearTimeout(late); resolve(); }
    };
    service.stdout.on('data', listen);
    service.stderr.on('data', listen);
    service.once('exit', code => { clearTimeout(late); reject(new Error(`the demo ended with ${code}:\n${said}`)); });
  });
  const stop = () => new Promise(resolve => {
    service.once('exit', () => { rmSync(folder, { recursive: true, force: true }); resolve(); });
    service.kill('SIGTERM');
  });
  try {
    await ready;
    service.removeAllListeners('exit');
    return { base, stop };
  } catch (error) {
    service.kill('SIGKILL');
    rmSync(folder, { recursive: true, force: true });
    throw error;
  }
}

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
    const types = metadata.json.rest[0].resource.filter(kind => kind.interaction.some(({ code }) => code === 'search-type')).map(kind => kind.type);
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
