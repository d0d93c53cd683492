// The guest's key: by its name in two touches, for this song or a later one, kept for the evening and saved on request;
// and names that the program spells.

import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import path from 'node:path';
import { test } from 'node:test';
import { axe, onCopiedMaps, perform, reads, visit } from './stand.mjs';

const here = onCopiedMaps('guest');

const go = async (page, title) => {
  await page.click('#thread');
  await page.click(`#song-list button:has-text("${title}")`);
  await reads(page, '#title', title);
};

test('two touches: the room’s key, and the key that the guest wants', async () => {
  const page = await visit(here.browser, here.show.url);
  await go(page, 'Carry the Light');
  await reads(page, '#room-key', 'E♭');
  await page.click('#keys');
  const told = await page.$$eval('#key-list button', (all) => all.map((one) => one.innerText.replace(/\s+/g, ' ')));
  assert.deepEqual(told.map((words) => words.split(' ')[0]), ['C', 'D♭', 'D', 'E♭', 'E', 'F', 'G♭', 'G', 'A♭', 'A', 'B♭', 'B']);
  // The fingers stay in C: the shift is the way from there, the nearest.
  assert.deepEqual(told.map((words) => words.split(' ')[1]), ['±0', '+1', '+2', '+3', '+4', '+5', '+6', '−5', '−4', '−3', '−2', '−1']);
  // The melody goes from A3 to G4 in D, and a whole tone higher in the last chorus; the guest sings from G3 to D5, in comfort from A3 to B4.
  assert.ok(told.find((words) => words.startsWith('D ')).endsWith('good for guest'), told.join());
  assert.ok(told.find((words) => words.startsWith('A♭ ')).endsWith('not for guest'), told.join());
  const tonight = await page.$$eval('#key-list [aria-current]', (all) => all.map((one) => one.dataset.key));
  assert.deepEqual(tonight, ['Eb']);
  await axe(page, 'the choice of a key');
  await page.click('#key-list [data-key=E]');
  await reads(page, '#room-key', 'E');
  await reads(page, '#room-on-entry', 'E');
  const { set, song } = await here.show.status();
  assert.deepEqual(set.unsaved, ['song-key "Carry the Light" E']);
  assert.equal(song.keys.transposed_by_hand, 0);
});

test('what was transposed by hand does not hold the room where it is', async () => {
  const page = await visit(here.browser, here.show.url);
  await go(page, 'Carry the Light');
  await page.click('#raise-key');
  await reads(page, '#room-key', 'E');
  await page.click('#keys');
  await page.click('#key-list [data-key=G]');
  await reads(page, '#room-key', 'G');
  await here.show.stands('tonight’s key', ({ song }) => song.keys.transposed_by_hand === 0 && song.keys.room_on_entry === 'G');
});

test('a later song, and saved on request', async () => {
  const page = await visit(here.browser, here.show.url);
  await go(page, 'The Lamplighter\'s Lullaby');
  await reads(page, '#next-song-key', 'E♭');
  await page.click('#keys');
  assert.equal(await page.isVisible('#save-set'), false);
  await page.selectOption('#key-song', '11');
  await page.click('#key-list [data-key=F]');
  await reads(page, '#next-song-key', 'F');
  await page.click('#keys');
  await page.click('#save-set');
  await here.show.stands('saved', ({ set }) => set.unsaved.length === 0);
  assert.match(readFileSync(path.join(here.folder, 'midwinter.toml'), 'utf8'), /carry-the-light\.toml"\nkey = "F"/);
});

test('a section that rises says so, and the limit is said', async () => {
  const page = await visit(here.browser, here.show.url);
  await go(page, 'Carry the Light');
  for (const next of ['Chorus', 'Verse', 'Chorus', 'Last chorus']) {
    assert.equal(await page.textContent('#next-section-key'), '');
    await page.keyboard.press('ArrowRight');
    await reads(page, '#next-section-title', next);
  }
  await reads(page, '#next-section-key', 'rises to F');
  await reads(page, '#next-section', 'then Last chorus, rises to F');
  for (let step = 0; step < 12; step += 1) {
    await page.keyboard.press('+');
    await here.show.stands('higher', ({ song }) => song.keys.transposed_by_hand === step + 1);
  }
  await page.keyboard.press('+');
  await page.waitForSelector('#health[data-told="Nothing changes: the room\'s key is an octave above tonight\'s, and goes no further."]');
});

test('a view-only page chooses no key', async () => {
  await here.show.end();
  here.show = await perform('--set', path.join(here.folder, 'midwinter.toml'), '--passcode', 'nine bells', '--viewing-passcode', 'lantern');
  const page = await visit(here.browser, here.show.url, { wait: false });
  await page.fill('#passcode', 'lantern');
  await page.click('#enter');
  await page.waitForSelector('body[data-link=live] .drawing', { state: 'attached' });
  await page.click('#keys');
  assert.equal(await page.$$eval('#key-list button', (all) => all.length > 0 && all.every((one) => one.disabled)), true);
});

test('names under the sounds are the program’s', async () => {
  const page = await visit(here.browser, here.show.url);
  await go(page, 'Frost on the Window');
  // An A over its third, a C sharp; the room hears D over F sharp, which in F alone would be a G flat.
  here.show.say('play keyboard 90 31 50 90 39 50 90 40 50');
  await reads(page, '#gripped', 'A/C♯');
  await reads(page, '#heard', 'D/F♯');
  await page.waitForFunction(() => [...document.querySelectorAll('#zones .how')].some((one) => one.textContent.includes('F♯')));
  assert.equal(await page.$$eval('#zones .how', (all) => all.some((one) => one.textContent.includes('G♭'))), false);
  here.show.say('play keyboard 80 31 40 80 39 40 80 40 40');
});
