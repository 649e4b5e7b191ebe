// A general-purpose FHIR client that knows of the service only its address goes through every interaction it has. It has no
// word for a conditional deletion or a conditional patch; the library's own client does those.
import assert from 'node:assert/strict';
import { describe, it, after, before } from 'node:test';
import { Client } from 'fhir-kit-client';
import { started } from './service.mjs';

const SYSTEM = 'https://clinic.test/id';
const status = promise => promise.then(() => assert.fail('it was not refused'), error => error.response?.status ?? error.status);

describe('fhir-kit-client', () => {
  let service, client, person;
  before(async () => {
    service = await started();
    client = new Client({ baseUrl: `${service.base}/fhir` });
    person = await client.create({ resourceType: 'Patient', body: { resourceType: 'Patient', name: [{ family: 'Client', given: ['Cleo'] }] } });
  });
  after(() => service?.stop());

  it('reads the CapabilityStatement', async () => {
    const statement = await client.capabilityStatement();
    assert.equal(statement.fhirVersion, '4.0.1');
    assert.ok(statement.rest[0].resource.length > 30);
  });

  it('reads, reads a version, updates by version and is refused a stale one', async () => {
    assert.equal((await client.read({ resourceType: 'Patient', id: person.id })).id, person.id);
    const options = version => ({ headers: { 'If-Match': `W/"${version}"` } });
    const changed = await client.update({ resourceType: 'Patient', id: person.id, body: { ...person, gender: 'female' }, options: options(1) });
    assert.equal(changed.meta.versionId, '2');
    assert.equal((await client.vread({ resourceType: 'Patient', id: person.id, version: '1' })).gender, undefined);
    assert.equal(await status(client.update({ resourceType: 'Patient', id: person.id, body: person, options: options(1) })), 412);
  });

  it('creates under a condition only once', async () => {
    const body = { resourceType: 'Organization', name: 'Team of Invention', identifier: [{ system: SYSTEM, value: 'kit-1' }] };
    const options = { headers: { 'If-None-Exist': `identifier=${SYSTEM}|kit-1` } };
    const first = await client.create({ resourceType: 'Organization', body, options });
    assert.equal((await client.create({ resourceType: 'Organization', body, options })).id, first.id);
  });

  it('updates under a condition: creates once, then asks for the version, then changes', async () => {
    const body = name => ({ resourceType: 'Organization', name, identifier: [{ system: SYSTEM, value: 'kit-2' }] });
    const upsert = (name, headers) => client.update({ resourceType: 'Organization', searchParams: { identifier: `${SYSTEM}|kit-2` }, body: body(name), options: { headers } });
    const made = await upsert('Team of Invention');
    assert.equal(await status(upsert('Team of Chance')), 428);
    const changed = await upsert('Team of Chance', { 'If-Match': `W/"${made.meta.versionId}"` });
    assert.deepEqual([changed.id, changed.meta.versionId, changed.name], [made.id, '2', 'Team of Chance']);
  });

  it('patches, and is refused a patch of a stale version', async () => {
    const device = await client.create({ resourceType: 'Device', body: { resourceType: 'Device', lotNumber: '1' } });
    const patch = (value, version) => client.patch({ resourceType: 'Device', id: device.id, jsonPatch: [{ op: 'replace', path: '/lotNumber', value }], options: { headers: { 'If-Match': `W/"${version}"` } } });
    assert.deepEqual([(await patch('2', 1)).lotNumber, (await client.read({ resourceType: 'Device', id: device.id })).meta.versionId], ['2', '2']);
    assert.equal(await status(patch('3', 1)), 412);
  });

  it('reads under a condition', async () => {
    const current = await client.read({ resourceType: 'Patient', id: person.id });
    const headers = { 'If-None-Match': `W/"${current.meta.versionId}"` };
    assert.equal(await status(client.read({ resourceType: 'Patient', id: person.id, options: { headers } })), 304);
  });

  it('searches by GET and by POST and follows the pages', async () => {
    for (let i = 0; i < 5; i++)
      await client.create({ resourceType: 'Observation', body: { resourceType: 'Observation', status: 'final', code: { text: 'Grip' }, subject: { reference: `Patient/${person.id}` } } });
    const searchParams = { subject: `Patient/${person.id}`, _count: 2 };
    const seen = [];
    for (let page = await client.search({ resourceType: 'Observation', searchParams }); page; page = await client.nextPage({ bundle: page }))
      seen.push(...page.entry.map(entry => entry.resource.id));
    assert.equal(new Set(seen).size, 5);
    assert.equal(seen.length, 5);
    const posted = await client.resourceSearch({ resourceType: 'Observation', searchParams: { subject: `Patient/${person.id}` }, options: { postSearch: true } });
    assert.equal(posted.entry.length, 5);
    const inCompartment = await client.compartmentSearch({ resourceType: 'Observation', compartment: { resourceType: 'Patient', id: person.id } });
    assert.equal(inCompartment.entry.length, 5);
    const overAll = await client.systemSearch({ searchParams: { _type: 'Patient', _id: person.id } });
    assert.equal(overAll.entry[0].resource.id, person.id);
  });

  it('reads the history of a resource, of a type and of the system', async () => {
    assert.equal((await client.history({ resourceType: 'Patient', id: person.id })).entry.length, 2);
    assert.ok((await client.history({ resourceType: 'Patient' })).entry.length > 0);
    assert.ok((await client.history()).entry.length > 0);
  });

  it('runs a transaction and a batch', async () => {
    const entry = [{ fullUrl: 'urn:uuid:0d7d2ba5-6ee5-4d8a-9c32-3c1b1d0c1c11', resource: { resourceType: 'Device', patient: { reference: `Patient/${person.id}` } }, request: { method: 'POST', url: 'Device' } }];
    for (const type of ['transaction', 'batch']) {
      const answer = await client[type]({ body: { resourceType: 'Bundle', type, entry } });
      assert.equal(answer.type, `${type}-response`);
      assert.match(answer.entry[0].response.status, /^201/);
    }
  });

  it('calls operations by GET and by POST', async () => {
    const everything = await client.operation({ name: 'everything', resourceType: 'Patient', id: person.id, method: 'GET' });
    assert.equal(everything.entry.filter(({ search }) => search.mode === 'match').length, 8);
    const verdict = await client.operation({ name: 'validate', resourceType: 'Patient', input: { resourceType: 'Patient', gender: 'unheard-of' } });
    assert.ok(verdict.issue.some(({ severity }) => severity === 'error'));
  });

  it('finds our profiles by their address', async () => {
    const found = await client.search({ resourceType: 'StructureDefinition', searchParams: { url: 'https://rehabrecords.example/fhir/StructureDefinition/programme' } });
    assert.equal(found.entry[0].resource.id, 'programme');
  });

  it('deletes, and is told that it is gone', async () => {
    const device = await client.create({ resourceType: 'Device', body: { resourceType: 'Device', lotNumber: '1' } });
    await client.delete({ resourceType: 'Device', id: device.id, options: { headers: { 'If-Match': 'W/"1"' } } });
    assert.equal(await status(client.read({ resourceType: 'Device', id: device.id })), 410);
  });

  it('is told what is wrong as an OperationOutcome', async () => {
    const refusal = await client.search({ resourceType: 'Patient', searchParams: { colour: 'red' } }).catch(error => error);
    assert.equal(refusal.response.data.resourceType, 'OperationOutcome');
  });
});
