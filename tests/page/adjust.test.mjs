// At a rehearsal: level, octave, reach, linger and beginning of a zone, and the tempo, each by a touch; undone, and saved on
// request with what was there before beside it.

import assert from 'node:assert/strict';
import { readFileSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { test } from 'node:test';
import { axe, onCopiedMaps, perform, reads, until, visit } from './stand.mjs';

const here = onCopiedMaps('adjust');

const MAP = 'songs/millers-lantern.toml';
const map = () => readFileSync(path.join(here.folder, MAP), 'utf8');
const unsaved = async () => (await here.show.status()).set.unsaved;

/** The page with the dialog open, at a song with two zones. */
async function adjusting() {
  const page = await visit(here.browser, here.show.url);
  await page.click('#thread');
  await page.click('#song-list button:has-text("Miller")');
  await reads(page, '#title', 'The Miller’s Lantern'.replace('’', "'"));
  await page.click('#health');
  await page.click('#adjust-open');
  return page;
}

const press = (page, zone, does) => page.click(`[data-adjusts=${zone}] [data-does="${does}"]`);
const says = (page, zone, words) => page.waitForFunction(([name, wanted]) => document.querySelector(`[data-adjusts=${name}]`)?.innerText.replace(/\s+/g, ' ').includes(wanted), [zone, words]);

test('each field of a zone and the tempo are adjusted by a touch, undone by one, and saved on request', async () => {
  const page = await adjusting();
  const text = map();
  await axe(page, 'adjusting a song');
  await press(page, 'bass', 'level lower');
  await says(page, 'bass', '−1 dB');
  await press(page, 'bass', 'octave higher');
  await says(page, 'bass', 'octave +1');
  await press(page, 'bass', 'linger');
  await says(page, 'bass', 'linger next');
  await press(page, 'grand', 'begins');
  await says(page, 'grand', 'begins off');
  assert.equal((await here.show.status()).song.zones.find(({ name }) => name === 'grand').on, false, 'turned at once');
  await page.click('#adjust-tempo [data-does="tempo higher"]');
  await page.waitForFunction(() => document.querySelector('#adjust-tempo').innerText.includes('113'));
  await until('the clock follows', async () => Math.round((await here.show.status()).tempo) === 113);
  assert.deepEqual(await unsaved(), ['adjust-zone "bass" level -1', 'adjust-zone "bass" octave 1', 'adjust-zone "bass" linger next', 'adjust-zone "grand" on off', 'adjust-song tempo 113']);
  await page.click('#undo-change');
  await page.waitForFunction(() => document.querySelector('#adjust-tempo').innerText.includes('112'));
  await page.click('#undo-change');
  await says(page, 'grand', 'begins on');
  assert.equal((await here.show.status()).song.zones.find(({ name }) => name === 'grand').on, true, 'turned back');
  assert.equal(map(), text, 'nothing is written before it is asked for');
  await page.click('#save-adjusted');
  await until('all is saved', async () => (await unsaved()).length === 0);
  assert.equal(readFileSync(path.join(here.folder, `${MAP}.original`), 'utf8'), text);
  assert.equal(readFileSync(path.join(here.folder, `${MAP}.bak`), 'utf8'), text);
  assert.equal(map(), text.replace('stay short\n', 'stay short\nlevel = -1\noctave = 1\nlinger = "next"\n'));
});

test('the reach is what is pressed: the lowest key, then the highest', async () => {
  const page = await adjusting();
  await press(page, 'bass', 'reach');
  await says(page, 'bass', 'press the lowest key');
  here.show.say('play keyboard 90 28 50');
  await says(page, 'bass', 'now the highest key');
  here.show.say('play keyboard 80 28 40');
  here.show.say('play keyboard 90 34 50');
  await says(page, 'bass', 'keys E2–E3');
  assert.deepEqual(await unsaved(), ['adjust-zone "bass" keys 40 52']);
});

test('a reach that was begun is given up by a second press, and by another song', async () => {
  const page = await adjusting();
  const before = await unsaved();
  await press(page, 'grand', 'reach');
  await says(page, 'grand', 'press the lowest key');
  await press(page, 'grand', 'reach');
  await says(page, 'grand', 'keys ');
  // What is played then is only played.
  const plays = async (key) => {
    here.show.say(`play keyboard 90 ${key} 50`);
    await page.waitForFunction((number) => document.querySelector(`.drawing .key.down[data-key="${number}"]`), Number.parseInt(key, 16));
    here.show.say(`play keyboard 80 ${key} 40`);
    await page.waitForFunction(() => !document.querySelector('.drawing .key.down'));
  };
  await plays('2D');
  await plays('43');
  await says(page, 'grand', 'keys ');
  await press(page, 'grand', 'reach');
  await says(page, 'grand', 'press the lowest key');
  await plays('30');
  await says(page, 'grand', 'now the highest key');
  const other = await visit(here.browser, here.show.url);
  await other.click('#next-song');
  await page.waitForFunction(() => !document.querySelector('[data-adjusts=grand]')?.innerText.includes('highest'));
  await plays('43');
  await other.click('#thread');
  await other.click('#song-list button:has-text("Miller")');
  await says(page, 'grand', 'keys ');
  await other.context().close();
  assert.deepEqual(await unsaved(), before, 'nothing was adjusted');
  await page.context().close();
});

test('a view-only page adjusts nothing, and what check finds stands in the details', async () => {
  const set = path.join(here.folder, 'midwinter.toml');
  // Far too high for the guest.
  writeFileSync(set, readFileSync(set, 'utf8').replace('key = "Eb"', 'key = "Ab"'));
  const guarded = await perform('--set', set, '--passcode', 'nine bells', '--viewing-passcode', 'lantern');
  const page = await visit(here.browser, guarded.url, { wait: false });
  await page.fill('#passcode', 'lantern');
  await page.click('#enter');
  await page.waitForSelector('body[data-link=live] .drawing', { state: 'attached' });
  await page.click('#health');
  const found = await page.$$eval('#details-findings li', (all) => all.map((one) => one.textContent));
  assert.ok(found.some((one) => /^The melody goes up to .* tonight, higher than "guest" reaches\. \(.*midwinter\.toml, line \d+\)/.test(one)), found.join('; '));
  await page.click('#adjust-open');
  const buttons = await page.$$eval('#adjust button:not(.close)', (all) => all.map((one) => one.disabled));
  assert.ok(buttons.length > 2 && buttons.every(Boolean));
  await guarded.end();
});
