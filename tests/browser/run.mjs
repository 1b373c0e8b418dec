// Runs the cases of this folder against the program, in a headless Chromium.

import assert from 'node:assert/strict';
import { execFileSync, spawn } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

const here = path.dirname(fileURLToPath(import.meta.url));
const top = path.resolve(here, '../..');
const tugback = path.resolve(process.env.TUGBACK ?? path.join(top, 'target/release/tugback'));
const web = process.env.WEB && path.resolve(process.env.WEB);
const only = process.argv[2] ?? '';

let chromium;
try {
  ({ chromium } = await import('playwright-core'));
} catch {
  console.log('browser tests: skipped, because playwright-core is not there; scripts/setup-browser.sh fetches it');
  process.exit(0);
}
const browsers = [process.env.CHROMIUM, '/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'].filter(Boolean);
const executablePath = browsers.find((b) => fs.existsSync(b));
if (!executablePath) {
  console.log('browser tests: skipped, because no Chromium is there; scripts/setup-browser.sh fetches it');
  process.exit(0);
}
const axe = fs.readFileSync(path.join(here, 'node_modules/axe-core/axe.min.js'), 'utf8');

const browser = await chromium.launch({ executablePath, args: ['--no-sandbox', '--autoplay-policy=no-user-gesture-required'] });

/** A folder with copies of samples and their logs, gone afterwards. */
export function samples(...names) {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'tugback-browser-'));
  for (const name of names) {
    for (const ending of ['vtt', 'flac']) fs.copyFileSync(path.join(top, `audio-samples/${name}.${ending}`), path.join(folder, `${name}.${ending}`));
    execFileSync(tugback, ['log', '--quiet', path.join(folder, `${name}.vtt`), '-o', path.join(folder, `${name}.log.json`)]);
  }
  return folder;
}

/** What a case may use. */
async function open(args, options = {}) {
  // `inside`: a shell script that starts the program with what stands in "$@", in a folder.
  const { inside, cwd, env, ...look } = options;
  const all = [...args, '--no-browser', '--as', 'A. Reader'];
  const [command, given] = inside ? ['unshare', ['-rm', 'sh', '-c', inside, tugback, ...all]] : [tugback, all];
  const process_ = spawn(command, given, { cwd, env, stdio: ['ignore', 'pipe', 'ignore'] });
  const url = await new Promise((resolve, reject) => {
    process_.stdout.once('data', (d) => resolve(String(d).trim()));
    process_.once('exit', (code) => reject(Object.assign(new Error(`the program ended with ${code}`), { code })));
  });
  const complaints = [];
  const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, ...look });
  if (web) {
    await context.route(/\/assets\//, (route) => {
      const name = new URL(route.request().url()).pathname.split('/').pop();
      const contentType = { css: 'text/css', svg: 'image/svg+xml', js: 'text/javascript' }[name.split('.').pop()];
      route.fulfill({ contentType, body: fs.readFileSync(path.join(web, name)) });
    });
  }
  const tab = async (address) => {
    const page = await context.newPage();
    page.on('pageerror', (e) => complaints.push(e.message));
    page.on('console', (m) => { if (m.type() === 'error' && !/status of (409|422|428|507)/.test(m.text())) complaints.push(m.text()); });
    page.on('request', (r) => { if (!r.url().startsWith('http://127.0.0.1:')) complaints.push(`asked for ${r.url()}`); });
    await page.goto(address);
    return page;
  };
  const page = await tab(url);
  return {
    page, tab, url, complaints, process: process_,
    invite: () => page.evaluate(async () => (await (await import('/assets/api.js')).post('/api/invite')).url),
    close: async () => {
      await context.close();
      process_.kill();
    },
  };
}

/** Violations that axe finds on the page as it is, one line each. */
async function violations(page) {
  // Our strict policy refuses scripts of others on the page; axe is put in by the debugger, which may.
  if (!(await page.evaluate(() => Boolean(window.axe)))) await page.evaluate(axe);
  const found = await page.evaluate(() => window.axe.run(document, {
    runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'], rules: {
    // Measured by a case of its own, at 44 px; axe also counts what is half under the player's bar.
    'target-size': { enabled: false },
  } }));
  return found.violations.map((v) => `${v.id}: ${v.help} (${v.nodes.slice(0, 3).map((n) => n.target.join(' ')).join(', ')})`);
}

/** Waits until this is true. */
async function until(what, check) {
  for (let i = 0; i < 200; i += 1) {
    if (await check()) return;
    await new Promise((r) => setTimeout(r, 25));
  }
  throw new Error(`never: ${what}`);
}

export const readLog = (folder, name) => JSON.parse(fs.readFileSync(path.join(folder, `${name}.log.json`), 'utf8'));
function verify(folder, name) {
  return execFileSync(tugback, ['verify', path.join(folder, `${name}.log.json`)], { encoding: 'utf8' });
}

let failed = 0;
const files = fs.readdirSync(path.join(here, 'cases')).filter((f) => f.endsWith('.mjs')).sort();
for (const file of files) {
  const { cases } = await import(`./cases/${file}`);
  for (const [name, run] of Object.entries(cases)) {
    if (!`${file} ${name}`.includes(only)) continue;
    const closers = [];
    const folders = [];
    const tools = {
      assert, until, violations, readLog, verify, tugback, top, browser,
      samples: (...names) => { const f = samples(...names); folders.push(f); return f; },
      open: async (...args) => { const o = await open(...args); closers.push(o); return o; },
    };
    const start = performance.now();
    try {
      await run(tools);
      for (const o of closers) assert.deepEqual(o.complaints, [], 'the browser complained');
      console.log(`ok    ${name} (${((performance.now() - start) / 1000).toFixed(1)} s)`);
    } catch (e) {
      failed += 1;
      console.log(`FAIL  ${name}\n${e.stack}`);
      if (process.env.SHOTS && closers[0]) await closers[0].page.screenshot({ path: path.join(process.env.SHOTS, 'failed.png') }).catch(() => {});
    }
    for (const o of closers) await o.close();
    for (const f of folders) fs.rmSync(f, { recursive: true, force: true });
  }
}
await browser.close();
console.log(failed ? `browser tests: ${failed} failed` : 'browser tests: all passed');
process.exit(failed ? 1 : 0);
