// Thumbs and keyboard shortcuts: every button does what it says, read back from outside the page.

import assert from 'node:assert/strict';
import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { after, before, test } from 'node:test';
import { ROOT, axe, faults, launch, note, perform, reads, text, until, visit } from './stand.mjs';

let browser;
let show;
let page;
before(async () => {
  browser = await launch();
  show = await perform();
  show.say('listen piano');
  show.say('listen pad');
  page = await visit(browser, show.url);
});
after(async () => {
  await browser?.close();
  await show?.end();
  assert.deepEqual(faults, []);
});

test('next and previous song, at the edges', async () => {
  await page.click('#next-song');
  await show.stands('song 2', ({ entry }) => entry.position === 2);
  await reads(page, '#title', 'Frost on the Window');
  await reads(page, '#room-key', 'F');
  await reads(page, '#finger-key', 'C');
  await reads(page, '#shift-number', '+5');
  await reads(page, '#next-song-title', 'Candle by Candle');
  await page.click('#previous-song');
  await show.stands('song 1', ({ entry }) => entry.position === 1);
  await reads(page, '#title', 'Snow at the Weir Gate');
  await page.click('#previous-song');
  await page.waitForSelector('#health[data-told]');
  await show.stands('still song 1', ({ entry }) => entry.position === 1);
});

test('next and previous section; chords stand over their partners', async () => {
  await page.click('#next-section-go');
  await show.stands('Chorus', ({ song }) => song.section.name === 'Chorus');
  await reads(page, '#section', 'Chorus');
  await reads(page, '#remark', 'sopranos alone at first');
  // From the chart: G A F#m Bm G D/F# Asus4 D in D; the fingers play a whole tone lower.
  const chords = (id) => page.$$eval(`#${id} .of-bar`, (all) => all.map((one) => one.textContent));
  assert.deepEqual(await chords('room-chords'), ['G', 'A', 'F♯m', 'Bm', 'G', 'D/F♯', 'Asus4', 'D']);
  assert.deepEqual(await chords('finger-chords'), ['F', 'G', 'Em', 'Am', 'F', 'C/E', 'Gsus4', 'C']);
  const lefts = (id) => page.$$eval(`#${id} li`, (all) => all.map((one) => Math.round(one.getBoundingClientRect().left)));
  assert.deepEqual(await lefts('room-chords'), await lefts('finger-chords'));
  await page.click('#previous-section');
  await show.stands('Verse', ({ song }) => song.section.name === 'Verse');
  await reads(page, '#next-section', 'then Chorus');
});

test('the room’s key half a tone higher, lower, and back to tonight’s', async () => {
  await page.click('#raise-key');
  await show.stands('a semitone up', ({ song }) => song.keys.transposed_by_hand === 1);
  await reads(page, '#room-key', 'E♭');
  await reads(page, '#shift-words', '+1 from tonight’s D');
  await page.click('#tonights-key');
  await show.stands('tonight’s', ({ song }) => song.keys.transposed_by_hand === 0);
  await page.click('#lower-key');
  await show.stands('a semitone down', ({ song }) => song.keys.transposed_by_hand === -1);
  await page.click('#tonights-key');
  await reads(page, '#room-key', 'D');
});

test('any song by name, and any section', async () => {
  await page.click('#thread');
  await page.click('#song-list button:has-text("Lamplighter")');
  await show.stands('the lullaby', ({ entry }) => entry.title === 'The Lamplighter\'s Lullaby');
  await reads(page, '#count', '10 of 13');
  await page.click('#sections');
  await page.click('#section-list button:has-text("Chorus")');
  await show.stands('its chorus', ({ song }) => song.section.name === 'Chorus');
  await page.click('#thread');
  // It is in the set twice, under two names; its position tells them apart.
  await page.click('#song-list button:has-text("encore")');
  await show.stands('the encore', ({ entry }) => entry.position === 13);
});

test('zones and the drone, on and off, in words', async () => {
  await page.click('#thread');
  await page.click('#song-list button:has-text("Lamplighter")');
  await reads(page, '#title', 'The Lamplighter\'s Lullaby');
  await page.click('button[data-zone=tune]');
  await show.stands('tune off', ({ song }) => song.zones.find(({ name }) => name === 'tune').on === false);
  await reads(page, 'button[data-zone=tune] .how', 'off');
  assert.equal(await page.getAttribute('button[data-zone=tune]', 'aria-checked'), 'false');
  await page.click('button[data-zone=tune]');
  await reads(page, 'button[data-zone=tune] .how', 'on');
  const from = show.sent.length;
  await page.click('#drone');
  await show.stands('a drone', ({ drone }) => drone);
  await show.said('its tonic, B flat in the second octave', 'pad', note(46), from);
  await until('said on', async () => (await text(page, '#drone .how')).startsWith('on'));
  await page.click('#drone');
  await show.stands('none', ({ drone }) => !drone);
});

test('fade: held notes fade out', async () => {
  await page.click('#thread');
  await page.click('#song-list button:has-text("Frost")');
  await reads(page, '#title', 'Frost on the Window');
  show.say('play keyboard 90 3C 50 90 40 50 90 43 50');
  // Not only two flags: the drone of the song before may still be fading out there.
  await reads(page, 'button[data-zone=bed] .how', 'on · C3 F3');
  show.say('play keyboard 80 3C 40 80 40 40 80 43 40');
  await page.waitForFunction(() => !document.querySelector('.drawing .key.down'));
  await reads(page, 'button[data-zone=bed] .how', 'on · C3 F3');
  const from = show.sent.length;
  await page.click('#fade');
  await show.said('expression goes down', 'pad', (bytes) => bytes[0] === 0xb0 && bytes[1] === 11 && bytes[2] < 120, from);
  await page.waitForFunction(() => document.querySelectorAll('.flag').length === 0);
});

test('tap: four make a tempo', async () => {
  const { tempo } = await show.status();
  for (let tap = 0; tap < 4; tap += 1) {
    await page.click('#beat');
    await page.waitForTimeout(400);
  }
  await show.stands('another tempo', (state) => state.tempo !== tempo && state.tempo > 100 && state.tempo < 160);
});

test('by keyboard shortcuts', async () => {
  await page.keyboard.press('0');
  const { entry } = await show.status();
  await page.keyboard.press('ArrowDown');
  await show.stands('next song', (state) => state.entry.position === entry.position + 1);
  await reads(page, '#count', `${entry.position + 1} of 13`);
  await page.keyboard.press('ArrowUp');
  await show.stands('previous song', (state) => state.entry.position === entry.position);
  await reads(page, '#count', `${entry.position} of 13`);
  await page.keyboard.press('ArrowRight');
  await show.stands('next section', ({ song }) => song.section.step === 2);
  await until('drawn', async () => (await text(page, '#section')) === 'Chorus');
  await page.keyboard.press('ArrowLeft');
  await show.stands('previous section', ({ song }) => song.section.step === 1);
  await page.keyboard.press('+');
  await show.stands('up', ({ song }) => song.keys.transposed_by_hand === 1);
  await page.keyboard.press('-');
  await show.stands('down', ({ song }) => song.keys.transposed_by_hand === 0);
  // Single keys can be turned off, for those who speak to their computer.
  await page.click('#health');
  await page.click('#letters');
  await page.keyboard.press('Escape');
  await page.keyboard.press('+');
  await page.keyboard.press('ArrowRight');
  await show.stands('the arrow only', ({ song }) => song.section.step === 2 && song.keys.transposed_by_hand === 0);
  await page.click('#health');
  await page.click('#letters');
  await page.keyboard.press('Escape');
});

test('panic: a tap does nothing, holding half a second does, and two presses of a key', async () => {
  const pressed = () => show.sent.filter(({ bytes }) => bytes[0] >> 4 === 11 && bytes[1] === 120).length;
  show.say('play keyboard 90 3C 50');
  await page.waitForSelector('.key.down');
  let before = pressed();
  await page.click('#panic');
  await page.click('#panic');
  await page.waitForSelector('#health[data-told]');
  assert.equal(pressed(), before, 'two taps of a pointer are a stray touch');
  const { x, y, width, height } = await page.locator('#panic').boundingBox();
  await page.mouse.move(x + width / 2, y + height / 2);
  await page.mouse.down();
  await page.waitForSelector('#panic.filling');
  await page.mouse.move(x + width / 2, y - 80);
  await page.waitForSelector('#panic:not(.filling)');
  await page.mouse.up();
  await page.mouse.move(x + width / 2, y + height / 2);
  await page.mouse.down();
  const from = performance.now();
  await until('silence', () => pressed() > before);
  assert.ok(performance.now() - from > 400, 'not before it was held');
  await page.mouse.up();
  await page.waitForFunction(() => document.querySelectorAll('.flag').length === 0);
  show.say('play keyboard 80 3C 40');

  before = pressed();
  await page.focus('#panic');
  await page.keyboard.press('Enter');
  await reads(page, '#panic-how', 'once more');
  await reads(page, '#say', 'Press again: all notes off.');
  assert.equal(pressed(), before, 'once is not enough');
  await page.keyboard.press('Enter');
  await until('silence', () => pressed() > before);
  await reads(page, '#panic-how', 'all notes off · hold');
  before = pressed();
  await page.keyboard.press('!');
  await page.keyboard.press('!');
  await until('silence', () => pressed() > before);
});

test('what is wrong is said in plain words, and that it is right again', async () => {
  show.say('unplug keyboard');
  await until('said', async () => /keyboard/.test(await text(page, '#health-words')) && (await page.getAttribute('#words', 'data-state')) === 'wrong');
  await page.click('#health');
  await until('the input is not connected', async () => /keyboard \(“stage piano”\): not connected/.test(await text(page, '#details-inputs')));
  show.say('plug keyboard');
  await until('it is connected', async () => /keyboard \(“stage piano”\): connected/.test(await text(page, '#details-inputs')));
  await page.keyboard.press('Escape');
});

test('what arrives at an input is told in words, with the line of a map that means it', async () => {
  await page.click('#health');
  await until('it is asked for', () => page.isVisible('#arrivals-none'));
  await until('the pedal is told', async () => {
    show.say('play keyboard B0 40 7F B0 40 00');
    return /keyboard: control 64 is 127: the right pedal/.test(await text(page, '#arrivals-list'));
  });
  assert.match(await text(page, '#arrivals-list'), /when = \{ input = "keyboard", control = 64 \}/);
  assert.equal(await page.isVisible('#arrivals-none'), false);
  for (let key = 48; key < 72; key += 1) show.say(`play keyboard 90 ${key.toString(16)} 50 80 ${key.toString(16)} 40`);
  await until('the last key is on top', async () => /^keyboard: note B4/.test(await text(page, '#arrivals-list')));
  assert.equal(await page.$$eval('#arrivals-list li', (all) => all.length), 8);
  await page.click('#details .close');
  assert.equal(await page.$eval('#arrivals', ({ hidden }) => hidden), true);
});

test('a talkback that is on frames the page, and the screen reader is told of songs, not of chords', async () => {
  show.say('listen desk');
  await show.stands('a desk', ({ outputs }) => outputs.find(({ name }) => name === 'desk').connected);
  await page.waitForTimeout(600); // no cue fires in the first half second after its input appeared (rule R19)
  show.say('play keyboard 90 6C 50');
  await page.waitForSelector('.standing');
  await reads(page, '.standing', 'talkback is on');
  assert.ok(await page.$eval('body', (body) => body.classList.contains('cued')));
  show.say('play keyboard 80 6C 40');
  await until('closed', async () => !(await page.$('.standing')));
  await page.keyboard.press('ArrowDown');
  await page.waitForFunction(() => document.querySelector('#say').textContent.includes(document.querySelector('#title').textContent));
  const said = await text(page, '#say');
  show.say('play keyboard 90 3C 50 90 40 50 90 43 50');
  await reads(page, '#gripped', 'C');
  assert.equal(await text(page, '#say'), said);
  show.say('play keyboard 80 3C 40 80 40 40 80 43 40');
});

test('what was not sent at the start is shown, and sent by a press', async () => {
  // The first song of the set starts the tracks player as it is entered: at the start of the program that is not sent.
  const folder = mkdtempSync(path.join(tmpdir(), 'handspan-held-'));
  cpSync(path.join(ROOT, 'maps'), folder, { recursive: true });
  const song = path.join(folder, 'songs/weir-gate.toml');
  const list = 'on_entering = [{ to = "pad", message = { song_select = 5 } }, { to = "pad", message = { transport = "play" } }]\n';
  writeFileSync(song, list + readFileSync(song, 'utf8'));
  const other = await perform('--set', path.join(folder, 'midwinter.toml'));
  other.say('listen piano');
  other.say('listen pad');
  const second = await visit(browser, other.url);
  const { not_sent: unsent } = await other.status();
  assert.ok(unsent > 0);
  await reads(second, '#not-sent', `${unsent} not sent`);
  await axe(second, 'something was not sent');
  const from = other.sent.length;
  await second.click('#again');
  await other.said('the start of the tracks', 'pad', ([status, maker]) => status === 0xf0 && maker === 0x7f, from);
  await second.waitForSelector('#again', { state: 'hidden' });
  assert.equal((await other.status()).not_sent, 0);
  await second.context().close();
  await other.end();
  rmSync(folder, { recursive: true });
});
