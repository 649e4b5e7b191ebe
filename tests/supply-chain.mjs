// What the service is made of, and whether that is all in order. Run by tests/run; by hand: node tests/supply-chain.mjs [--write]
//   1. artifacts/sbom.json, a CycloneDX bill of materials, names exactly the packages of the lock file;
//   2. every licence is one of the permissive ones, and docs/licences.md (written anew by --write) says so;
//   3. known weaknesses: looked up only where the package index publishes them, and said so where it does not.
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';

const root = new URL('..', import.meta.url).pathname;
const tools = root + 'artifacts/tools';
const cycloneDx = '6.3.1';
const permissive = new Set(['Apache-2.0', 'BSD-2-Clause', 'BSD-3-Clause', 'ISC', 'MIT', 'PostgreSQL', 'Unlicense', 'blessing']);
// Packages that name a file or an address instead of a licence's name, each looked at by hand.
const lookedAt = {
  'Fhir.Metrics': 'BSD-3-Clause',
  'Firely.Fhir.Validation': 'BSD-3-Clause',
  'Firely.Fhir.Validation.Compilation': 'BSD-3-Clause',
  'Firely.Fhir.Validation.R4': 'BSD-3-Clause',
  'Hl7.Fhir.Base': 'BSD-3-Clause',
  'Hl7.Fhir.Conformance': 'BSD-3-Clause',
  'Hl7.Fhir.R4': 'BSD-3-Clause',
};
let failed = 0;
const fault = (text) => { console.error('supply chain: ' + text); failed++; };
const run = (program, ...args) => execFileSync(program, args, { cwd: root, encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'], env: { ...process.env, DOTNET_CLI_TELEMETRY_OPTOUT: '1', DOTNET_NOLOGO: '1' } });

mkdirSync(tools, { recursive: true });
if (!existsSync(tools + '/dotnet-CycloneDX'))
  run('dotnet', 'tool', 'install', 'CycloneDX', '--version', cycloneDx, '--tool-path', tools);
run(tools + '/dotnet-CycloneDX', 'src/RehabRecords/RehabRecords.csproj', '--output', 'artifacts', '--filename', 'sbom.json', '--output-format', 'Json', '--exclude-dev', '--disable-package-restore');
const components = JSON.parse(readFileSync(root + 'artifacts/sbom.json')).components;

const locked = new Map();
for (const [name, entry] of Object.entries(JSON.parse(readFileSync(root + 'src/RehabRecords/packages.lock.json')).dependencies['net10.0']))
  if (entry.type !== 'Project') locked.set(name.toLowerCase(), entry.resolved);
// Of use only while building: nothing of it lies beside the service.
const buildOnly = new Set(['hl7.fhir.specification.data.r4', 'microsoft.codeanalysis.bannedapianalyzers', 'microsoft.aspnetcore.app.internal.assets']);
const listed = new Map(components.map((c) => [c.name.toLowerCase(), c.version]));
for (const [name, version] of locked)
  if (!buildOnly.has(name) && listed.get(name) !== version) fault(`${name} ${version} is locked, and the bill of materials has ${listed.get(name) ?? 'nothing'}.`);
for (const [name, version] of listed)
  if (locked.get(name) !== version) fault(`${name} ${version} is in the bill of materials and not in the lock file.`);

const rows = components.map((c) => {
  const named = (c.licenses ?? []).map((l) => l.expression ?? l.license?.id).filter(Boolean);
  const licence = named.length > 0 ? named.join(' OR ') : lookedAt[c.name];
  if (!licence || !licence.split(/ (?:OR|AND) /).every((l) => permissive.has(l.replace(/[()]/g, '')))) fault(`${c.name} ${c.version}: licence ${licence ?? JSON.stringify(c.licenses)} is not one of the permissive ones.`);
  return `| ${c.name} | ${c.version} | ${licence ?? '?'} |`;
}).sort((a, b) => a.toLowerCase().localeCompare(b.toLowerCase()));
const page = `# Licences\n\nOf every package the service brings along, as its bill of materials names them; made by \`node tests/supply-chain.mjs --write\`. Why the direct ones are there:\n[dependencies.md](dependencies.md).\n\n| package | version | licence |\n|---|---|---|\n${rows.join('\n')}\n`;
if (process.argv.includes('--write')) writeFileSync(root + 'docs/licences.md', page);
else if (!existsSync(root + 'docs/licences.md') || readFileSync(root + 'docs/licences.md', 'utf8') !== page) fault('docs/licences.md is not what it would be now; node tests/supply-chain.mjs --write writes it.');

const sources = run('dotnet', 'nuget', 'list', 'source', '--format', 'Short').split('\n').filter((l) => l.startsWith('E ')).map((l) => l.slice(2).trim());
const publishes = await Promise.all(sources.map(async (source) => {
  try {
    return (await (await fetch(source)).json()).resources.some((r) => String(r['@type']).startsWith('VulnerabilityInfo'));
  } catch {
    return false;
  }
}));
if (publishes.some(Boolean)) {
  const found = JSON.parse(run('dotnet', 'list', 'package', '--vulnerable', '--include-transitive', '--format', 'json'));
  const weak = found.projects.flatMap((p) => (p.frameworks ?? []).flatMap((f) => [...(f.topLevelPackages ?? []), ...(f.transitivePackages ?? [])]));
  for (const p of weak) fault(`${p.id} ${p.resolvedVersion} has known weaknesses: ${p.vulnerabilities.map((v) => v.advisoryurl).join(', ')}.`);
  console.log(`known weaknesses: looked up for all packages, ${weak.length} found`);
} else console.log('known weaknesses: NOT CHECKED, since no package index configured here publishes them');

console.log(`supply chain: ${components.length} packages in the bill of materials, ${failed} faults`);
process.exit(failed === 0 ? 0 : 1);
