// Starts the built service in demo mode on a port and in a folder of its own.
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

export async function started() {
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
