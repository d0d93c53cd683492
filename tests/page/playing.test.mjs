// Keys: played on the page, they sound at the outputs; played at an input, they are drawn.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { faults, launch, note, perform, reads, text, until, visit } from './stand.mjs';

let browser;
let show;
before(async () => {
  browser = await launch();
  show = await perform();
  show.say('listen piano');
  show.say('listen pad');
});
after(async () => {
  await browser?.close();
  await show?.end();
  assert.deepEqual(faults, []);
});

const drawn = (page) => page.$$eval('.drawing .key.down', (keys) => keys.map((key) => Number(key.dataset.key)).sort((a, b) => a - b));
const drawnAre = (page, wanted) => until(`keys ${wanted} drawn`, async () => String(await drawn(page)) === String(wanted));

test('keys that go down at an input are drawn, with what they start, and gone again', async () => {
  const page = await visit(browser, show.url);
  show.say('play keyboard 90 3C 50 90 40 50 90 43 50');
  await drawnAre(page, [60, 64, 67]);
  // The first song is printed in D and played in C: what sounds lies a whole tone higher.
  await until('three flags', async () => (await page.$$('.flag')).length === 3);
  await reads(page, '#gripped', 'C');
  await reads(page, '#heard', 'D');
  await reads(page, '[data-zone=grand] .how', 'on · D4 F♯4 A4');
  assert.equal((await page.$$('.dot')).length, 3, 'a dot marks each, for eyes that see no colour');
  show.say('play keyboard 80 3C 40 80 40 40 80 43 40');
  await drawnAre(page, []);
  await until('no flag', async () => (await page.$$('.flag')).length === 0);
  await reads(page, '#gripped', '');
  await page.context().close();
});

test('by mouse: a key of the page sounds at the output, louder further down, and ends', async () => {
  const page = await visit(browser, show.url);
  await page.click('#play-here');
  const key = await page.locator('#piano [data-note="60"]').boundingBox();
  const strike = async (part) => {
    const from = show.sent.length;
    await page.mouse.move(key.x + key.width * 0.4, key.y + key.height * part);
    await page.mouse.down();
    const { bytes } = await show.said('a note-on', 'piano', note(62), from);
    await drawnAre(page, [60]);
    await page.mouse.up();
    await show.said('its note-off', 'piano', note(62, false), from);
    await drawnAre(page, []);
    return bytes[2];
  };
  const high = await strike(0.65);
  const low = await strike(0.97);
  assert.ok(low > high, `${low} below, ${high} above`);
  await page.context().close();
});

test('a pointer that glides strikes each key it comes to, one at a time', async () => {
  const page = await visit(browser, show.url);
  await page.click('#play-here');
  const from = show.sent.length;
  const at = async (number) => {
    const { x, y, width, height } = await page.locator(`#piano [data-note="${number}"]`).boundingBox();
    return [x + width / 2, y + height * 0.9];
  };
  await page.mouse.move(...(await at(60)));
  await page.mouse.down();
  await page.mouse.move(...(await at(62)));
  await drawnAre(page, [62]);
  await page.mouse.move(...(await at(64)));
  await drawnAre(page, [64]);
  await page.mouse.up();
  await drawnAre(page, []);
  const said = show.sent.slice(from).filter(({ bytes }) => bytes[0] >> 5 === 4).map(({ bytes }) => [bytes[0] >> 4 === 9 ? 'on' : 'off', bytes[1]].join(' '));
  assert.deepEqual(said, ['on 62', 'off 62', 'on 64', 'off 64', 'on 66', 'off 66']);
  await page.context().close();
});

// Near a white key's front edge, where no black one lies beside it, however high the keys are.
const below = async (page) => ({ x: 10, y: 0.9 * (await page.locator('#piano').boundingBox()).height });

test('where keys stay, a mouse holds a chord, and the pad follows it', async () => {
  const page = await visit(browser, show.url);
  await page.keyboard.press('ArrowDown');
  await reads(page, '#title', 'Frost on the Window');
  await page.click('#play-here');
  await page.click('#keep');
  const from = show.sent.length;
  for (const number of [60, 64, 67]) await page.click(`#piano [data-note="${number}"]`, { position: await below(page) });
  await drawnAre(page, [60, 64, 67]);
  // Root and fifth of what is heard in F for a C that is gripped.
  await show.said('the root', 'pad', note(53), from);
  await show.said('the fifth', 'pad', note(48), from);
  await page.click('#piano [data-note="64"]', { position: await below(page) });
  await drawnAre(page, [60, 67]);
  await page.click('#keep');
  await drawnAre(page, []);
  await page.click('#play-here');
  await page.keyboard.press('ArrowUp');
  await reads(page, '#title', 'Snow at the Weir Gate');
  await page.context().close();
});

test('several fingers at once, by touch', async () => {
  const page = await visit(browser, show.url, { hasTouch: true });
  await page.click('#play-here');
  const points = [];
  for (const [id, number] of [[1, 60], [2, 64], [3, 67]]) {
    const { x, y, width, height } = await page.locator(`#piano [data-note="${number}"]`).boundingBox();
    points.push({ id, x: x + width / 2, y: y + height * 0.9 });
  }
  const debug = await page.context().newCDPSession(page);
  for (let count = 1; count <= 3; count += 1) await debug.send('Input.dispatchTouchEvent', { type: 'touchStart', touchPoints: points.slice(0, count) });
  await drawnAre(page, [60, 64, 67]);
  await debug.send('Input.dispatchTouchEvent', { type: 'touchEnd', touchPoints: [] });
  await drawnAre(page, []);
  await debug.send('Input.dispatchTouchEvent', { type: 'touchStart', touchPoints: points.slice(1) });
  await drawnAre(page, [64, 67]);
  // As when the system takes the fingers for a gesture of its own.
  await debug.send('Input.dispatchTouchEvent', { type: 'touchCancel', touchPoints: [] });
  await drawnAre(page, []);
  await page.context().close();
});

test('by a computer’s keyboard, with octaves, pedal and everything up when the page loses its focus', async () => {
  const page = await visit(browser, show.url);
  await page.keyboard.press('p');
  let from = show.sent.length;
  await page.keyboard.press('KeyA');
  await show.said('the key A is an A, a whole tone up', 'piano', note(59), from);
  await page.keyboard.press('KeyR');
  await show.said('the row above has the black keys', 'piano', note(63), from);
  await drawnAre(page, []);
  from = show.sent.length;
  await page.keyboard.down('KeyD');
  await show.said('C4, a whole tone up', 'piano', note(62), from);
  await page.keyboard.down('KeyG');
  await drawnAre(page, [60, 64]);
  await page.keyboard.up('KeyD');
  await drawnAre(page, [64]);
  await page.evaluate(() => window.dispatchEvent(new Event('blur')));
  await drawnAre(page, []);
  await page.keyboard.up('KeyG');
  await page.keyboard.press('PageUp');
  from = show.sent.length;
  await page.keyboard.press('KeyD');
  await show.said('an octave higher', 'piano', note(74), from);
  await page.evaluate(() => document.activeElement.blur());
  await page.keyboard.down('Space');
  await show.said('the pedal', 'piano', (bytes) => bytes[0] === 0xb0 && bytes[1] === 64 && bytes[2] >= 64, from);
  await page.keyboard.up('Space');
  await show.said('the pedal up', 'piano', (bytes) => bytes[0] === 0xb0 && bytes[1] === 64 && bytes[2] === 0, from);
  from = show.sent.length;
  const button = await page.locator('#sustain').boundingBox();
  await page.mouse.move(button.x + 10, button.y + 10);
  await page.mouse.down();
  await show.said('the button holds it', 'piano', (bytes) => bytes[1] === 64 && bytes[2] >= 64, from);
  await page.mouse.up();
  await show.said('and lets go', 'piano', (bytes) => bytes[1] === 64 && bytes[2] === 0, from);
  await page.keyboard.press('Escape');
  assert.ok(await page.isHidden('#hand'));
  await page.context().close();
});

test('a fixed touch, octave buttons, and what a screen reader presses', async () => {
  const page = await visit(browser, show.url);
  await page.click('#play-here');
  await page.selectOption('#touch', '110');
  await page.click('#lower-octave');
  assert.equal(await text(page, '#piano [data-note="36"]'), 'C2');
  await page.click('#higher-octave');
  const from = show.sent.length;
  await page.$eval('#piano [data-note="60"]', (key) => key.click());
  await show.said('a short note', 'piano', note(62), from);
  await show.said('ends by itself', 'piano', note(62, false), from);
  assert.equal(await page.getAttribute('#piano [data-note="61"]', 'aria-label'), 'C♯4');
  await page.context().close();
});

test('a tap makes the keys those of the second keyboard, and what is held comes up', async () => {
  const page = await visit(browser, show.url, { hasTouch: true });
  await page.click('#thread');
  await page.click('#song-list button:has-text("Home Before")');
  await reads(page, '#title', 'Home Before the Thaw');
  await page.tap('#play-here');
  await reads(page, '#plays-as .what', 'as keyboard');
  let from = show.sent.length;
  await page.keyboard.down('KeyD');
  await show.said('the piano of the lower keyboard', 'piano', note(60), from);
  await page.tap('#plays-as');
  await reads(page, '#plays-as .what', 'as upper');
  await show.said('it comes up', 'piano', note(60, false), from);
  await page.keyboard.up('KeyD');
  from = show.sent.length;
  const { x, y, width, height } = await page.locator('#piano [data-note="64"]').boundingBox();
  await page.touchscreen.tap(x + width / 2, y + height * 0.9);
  await show.said('strings of the upper one', 'pad', note(64), from);
  await show.said('and their end', 'pad', note(64, false), from);
  assert.ok(!show.sent.slice(from).some(({ output, bytes }) => output === 'piano' && note(64)(bytes)), 'no piano');
  await page.tap('#plays-as');
  await reads(page, '#plays-as .what', 'as keyboard');
  await page.tap('#play-here');
  await page.click('#thread');
  await page.click('#song-list button:has-text("Snow at the Weir Gate") >> nth=0');
  await reads(page, '#title', 'Snow at the Weir Gate');
  await page.context().close();
});

test('keys that a page holds come up when it goes', async () => {
  const page = await visit(browser, show.url);
  const other = await visit(browser, show.url);
  await page.keyboard.press('p');
  await page.keyboard.down('KeyJ');
  await drawnAre(other, [67]);
  await page.context().close();
  await drawnAre(other, []);
  await other.context().close();
});

test('a pad follows the chord, and shows where it lies', async () => {
  const page = await visit(browser, show.url);
  show.say('listen pad');
  await page.click('#next-song');
  await reads(page, '#title', 'Frost on the Window');
  show.say('play keyboard 90 3C 50 90 40 50 90 43 50');
  await reads(page, '#heard', 'F');
  await page.waitForFunction(() => /^on · \S+ \S+$/.test(document.querySelector('[data-zone=bed] .how').textContent));
  assert.equal((await page.$$('.flag[data-output="1"]')).length, 2, 'root and fifth');
  show.say('play keyboard 80 3C 40 80 40 40 80 43 40');
  await drawnAre(page, []);
  await page.context().close();
});
