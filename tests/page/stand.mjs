// What all scenarios need: the performance, the browser, and waiting for a condition.

import { spawn } from 'node:child_process';
import { appendFileSync, cpSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import { createInterface } from 'node:readline';
import { after, afterEach, before, beforeEach } from 'node:test';
import assert from 'node:assert/strict';

export const ROOT = path.resolve(import.meta.dirname, '../..');
export const OUT = path.join(ROOT, 'target/page');
const require = createRequire(path.join(OUT, 'package.json'));
const { chromium } = require('playwright-core');
export const AXE = require.resolve('axe-core/axe.min.js');

mkdirSync(path.join(OUT, 'pictures'), { recursive: true });

/** Writes a measured figure down, for the report at the end. */
export const figure = (words) => appendFileSync(path.join(OUT, 'figures.txt'), `${words}\n`);

/** Far longer than anything takes on a busy machine; only a failure waits for it. */
const PATIENCE = 30000;

/** Waits until something holds; fails with its name after a while. */
export async function until(what, holds, milliseconds = PATIENCE) {
  const end = performance.now() + milliseconds;
  for (;;) {
    const found = await holds();
    if (found) return found;
    if (performance.now() > end) assert.fail(`waited in vain: ${what}`);
    await new Promise((resolve) => setTimeout(resolve, 5));
  }
}

/** The demo's outputs, in the order of its gear file: the driver gives their numbers. */
const OUTPUTS = ['piano', 'pad', 'tracks', 'desk'];

/** A performance of the demo set with ports in memory. */
export async function perform(...options) {
  const program = spawn(path.join(process.env.CARGO_TARGET_DIR ?? path.join(ROOT, 'target'), 'debug/examples/stand-driver'), options, {
    cwd: ROOT,
    stdio: ['pipe', 'pipe', 'inherit'],
  });
  const sent = [];
  let states = [];
  const opened = new Promise((resolve, reject) => {
    program.on('exit', (code) => reject(new Error(`the driver ended with ${code}`)));
    createInterface({ input: program.stdout }).on('line', (line) => {
      const [word, ...rest] = line.split(' ');
      if (word === 'stand') resolve(rest.at(-1));
      else if (word === 'sent') sent.push({ output: OUTPUTS[rest[0]], bytes: rest[1].match(/../g).map((byte) => parseInt(byte, 16)), at: performance.timeOrigin + performance.now() });
      else if (line.startsWith('{')) states.push(JSON.parse(line));
    });
  });
  opened.catch(() => {});
  const url = (await opened).replace(/\/?$/, '/');
  const say = (line) => program.stdin.write(`${line}\n`);
  return {
    url,
    port: Number(new URL(url).port),
    sent,
    say,
    async status() {
      states = [];
      say('status');
      return until('a status', () => states[0]);
    },
    /** Waits until the state is as wanted, as a program outside the page sees it. */
    stands(what, holds) {
      return until(what, async () => holds(await this.status()));
    },
    /** Waits for a message at an output that is so, counted from `from`. */
    said(what, output, holds, from = 0) {
      return until(what, () => sent.slice(from).find((one) => one.output === output && holds(one.bytes)));
    },
    async end() {
      const gone = new Promise((resolve) => program.once('exit', resolve));
      if (program.exitCode === null) {
        program.kill('SIGKILL');
        await gone;
      }
    },
  };
}

export const note = (number, on = true) => (bytes) => (bytes[0] & 0xf0) === (on ? 0x90 : 0x80) && bytes[1] === number;

export const launch = (...more) =>
  chromium.launch({
    executablePath: '/usr/bin/chromium',
    args: ['--headless', '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync', '--autoplay-policy=user-gesture-required', ...more],
  });

/** What went wrong in any page so far: errors in its console, requests to elsewhere. */
export const faults = [];

/** A page at the stand, admitted and drawn unless `wait` is false. */
export async function visit(browser, url, { wait = true, before, ...options } = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 }, ...options });
  const page = await context.newPage();
  const host = new URL(url).host;
  page.on('request', (request) => new URL(request.url()).host === host || faults.push(`a request to ${request.url()}`));
  page.on('console', (message) => {
    // Chromium itself says so where a connection cannot be made; the page cannot keep it from that.
    const unreached = /WebSocket connection to .* failed/.test(message.text()) || message.location().url === new URL('/here', url).href;
    // And that it does without one of the protections at a plain address.
    const plain = message.text().startsWith('The Cross-Origin-Opener-Policy header has been ignored, because the URL');
    if (message.type() === 'error' && !unreached && !plain) faults.push(message.text());
  });
  page.on('pageerror', (error) => faults.push(String(error)));
  await before?.(page);
  await page.goto(url);
  if (wait) await live(page);
  return page;
}

export async function live(page) {
  await page.waitForSelector('body[data-link=live]');
  await page.waitForFunction(() => document.querySelector('#title').textContent !== 'handspan' && document.querySelector('.drawing'));
}

export const text = (page, selector) => page.$eval(selector, (element) => element.textContent);

/** Waits for a text. */
export const reads = (page, selector, wanted) =>
  page.waitForFunction(([where, what]) => document.querySelector(where)?.textContent === what, [selector, wanted], { timeout: PATIENCE })
    .catch(async () => assert.equal(await text(page, selector), wanted));

/** Runs axe-core and fails on anything that it finds. */
export async function axe(page, state) {
  // The page's policy lets no foreign script in; the browser's own debugger may bring one.
  const source = (await import('node:fs')).readFileSync(AXE, 'utf8');
  await page.evaluate(`(() => { ${source} })()`);
  const { violations } = await page.evaluate(() => window.axe.run(document, { resultTypes: ['violations'] }));
  const told = violations.map(({ id, nodes }) => `${id}: ${nodes.map((one) => `${one.target} ${one.failureSummary}`).join('; ')}`);
  assert.deepEqual(told, [], state);
}

/** A browser for all scenarios of a file, and for each of them a performance on a copy of the demo's maps, which may be saved. */
export function onCopiedMaps(name) {
  const here = { browser: null, show: null, folder: null };
  before(async () => {
    here.browser = await launch();
  });
  beforeEach(async () => {
    here.folder = mkdtempSync(path.join(OUT, `${name}-`));
    cpSync(path.join(ROOT, 'maps'), here.folder, { recursive: true });
    here.show = await perform('--set', path.join(here.folder, 'midwinter.toml'));
  });
  afterEach(async () => {
    for (const context of here.browser.contexts()) await context.close();
    await here.show.end();
    rmSync(here.folder, { recursive: true });
  });
  after(async () => {
    await here.browser?.close();
    assert.deepEqual(faults, []);
  });
  return here;
}

/**
 * Chooses the song from the page's list, unless it is played, and waits for it. The list is drawn as it is opened, and the
 * page is live before it knows the songs. Where the set has just moved, the page asks to look and press again.
 */
export async function go(page, title) {
  await page.waitForFunction((wanted) => {
    const isThere = document.querySelector('#title').textContent.includes(wanted);
    if (isThere || document.body.dataset.can !== 'control') return isThere;
    document.querySelector('#thread').click();
    [...document.querySelectorAll('#song-list button')].find((one) => one.textContent.includes(wanted))?.click();
    document.querySelector('#songs').close();
    return false;
  }, title, { polling: 500 });
}
