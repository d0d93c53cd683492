// Every press is answered in words, and the keys of the page say what they do.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { axe, faults, launch, perform, reads, text, until, visit } from './stand.mjs';

let browser;
let show;
before(async () => {
  browser = await launch();
  show = await perform();
  show.say('listen piano');
});
after(async () => {
  await browser?.close();
  await show?.end();
  assert.deepEqual(faults, []);
});

const told = (page, words) =>
  page.waitForFunction((wanted) => document.querySelector('#health').dataset.told === wanted, words)
    .catch(async () => assert.equal(await page.getAttribute('#health', 'data-told'), words));

test('panic, fade, the ends of the set and of a song, and a pause', async () => {
  const page = await visit(browser, show.url);
  await page.click('#previous-song');
  await told(page, 'The set begins here: there is no previous song.');
  await page.click('#previous-section');
  await told(page, 'Verse is the first section.');
  const box = await page.$eval('#health', ({ scrollHeight, clientHeight, scrollWidth, clientWidth }) => [scrollHeight - clientHeight, scrollWidth - clientWidth]);
  assert.ok(Math.max(...box) <= 4, `the sentence has room: ${box}`);
  await page.click('#fade');
  await told(page, 'No note is held that could fade.');
  const panic = await page.locator('#panic').boundingBox();
  await page.mouse.move(panic.x + panic.width / 2, panic.y + panic.height / 2);
  await page.mouse.down();
  await told(page, 'Panic: everything is silent.');
  await page.mouse.up();
  const { set } = await page.evaluate(async () => ({ set: document.querySelectorAll('#knots i').length }));
  const pause = await page.$$eval('#knots i', (knots) => knots.findIndex((knot) => knot.classList.contains('pause')) + 1);
  assert.ok(pause > 0, 'the demo has a pause');
  const goTo = async (position) => {
    await page.click('#thread');
    await page.click(`#song-list li:nth-child(${position}) button`);
    await page.waitForFunction((wanted) => document.querySelector('#count').textContent.startsWith(`${wanted} of`), position);
  };
  await goTo(pause);
  await page.waitForSelector('#next-section-go[aria-disabled=true]');
  await axe(page, 'in a pause');
  await page.click('#next-section-go', { force: true }); // grey, but a thumb can be there
  await told(page, `"${await text(page, '#title')}" is a pause: it has no sections.`);
  await goTo(set);
  await page.click('#next-song');
  await told(page, 'The set ends here: there is no next song.');
  await goTo(1);
  assert.equal(await page.getAttribute('#next-section-go', 'aria-disabled'), 'false');
  await page.context().close();
});

test('two touches on next song within a quarter of a second are one', async () => {
  const asked = [];
  const page = await visit(browser, show.url, { before: (one) => one.on('websocket', (socket) => socket.on('framesent', ({ payload }) => /"next-song"/.test(payload) && asked.push(payload))) });
  await page.evaluate(() => {
    const button = document.querySelector('#next-song');
    button.click();
    button.click();
  });
  await reads(page, '#title', 'Frost on the Window');
  await page.click('#raise-key');
  await show.stands('the press after it', ({ song }) => song.keys.transposed_by_hand === 1);
  assert.equal(asked.length, 1, 'the second was not even sent');
  await page.click('#tonights-key');
  await page.click('#previous-song');
  await reads(page, '#title', 'Snow at the Weir Gate');
  await page.context().close();
});

test('space is the pedal wherever the focus is, while the keys are open', async () => {
  const page = await visit(browser, show.url);
  await page.click('#play-here');
  for (const focus of ['#hear', '#sustain', '#level', '#next-song', '#panic']) {
    await page.focus(focus);
    const from = show.sent.length;
    await page.keyboard.down('Space');
    await show.said('pedal down', 'piano', ([status, control, value]) => (status & 0xf0) === 0xb0 && control === 64 && value === 127, from);
    await page.keyboard.up('Space');
    await show.said('pedal up', 'piano', ([status, control, value]) => (status & 0xf0) === 0xb0 && control === 64 && value === 0, from);
  }
  assert.equal(await text(page, '#hear-how'), 'off', 'nothing is pressed by it');
  assert.equal(await text(page, '#title'), 'Snow at the Weir Gate');
  await page.context().close();
});

test('with nothing plugged in, a line says what to do and why a key sounds as another note', async () => {
  const own = await perform();
  own.say('unplug keyboard');
  const page = await visit(browser, `${own.url}#play`);
  await page.click('#next-song');
  await reads(page, '#title', 'Frost on the Window');
  await reads(page, '#hint', 'Nothing is plugged in: hold three keys here, and hear grand and bed. A key C sounds as F: fingers in C, room in F.');
  for (const key of ['KeyD', 'KeyG', 'KeyK']) await page.keyboard.down(key);
  await page.waitForFunction(() => /^sounds now: grand .+ · bed .+/.test(document.querySelector('#hint').textContent));
  await page.screenshot({ path: 'target/page/pictures/play-here.png' });
  for (const key of ['KeyD', 'KeyG', 'KeyK']) await page.keyboard.up(key);
  const letters = await page.$$eval('#piano [data-letter]', (keys) => keys.map((key) => `${key.dataset.note} ${getComputedStyle(key, '::before').content}`));
  assert.ok(letters.includes('57 "A"') && letters.includes('60 "D"') && letters.length === 16, `each key has its letter: ${letters}`);
  await axe(page, 'nothing plugged in');
  await page.context().close();
  await own.end();
});

test('a finger has forty pixels for each key, on a phone too', async () => {
  for (const width of [390, 600, 768, 1280]) {
    const page = await visit(browser, show.url, { viewport: { width, height: 844 } });
    await page.click('#play-here');
    const widths = await page.$$eval('#piano .white', (keys) => keys.map((key) => key.getBoundingClientRect().width));
    assert.ok(Math.min(...widths) >= 40, `${width}: ${Math.min(...widths)}`);
    assert.ok(widths.length >= 8);
    await page.context().close();
  }
});

test('the screen: kept on or said why not, whole, and with an icon for the home screen', async () => {
  const page = await visit(browser, show.url);
  await page.click('#health');
  await until('said', async () => /The screen (stays on|may turn itself off)/.test(await text(page, '#awake')));
  assert.equal(await page.isVisible('#full-screen'), await page.evaluate(() => document.fullscreenEnabled));
  const found = await page.evaluate(async () => {
    const manifest = await (await fetch(document.querySelector('link[rel=manifest]').href)).json();
    const icons = [...manifest.icons.map(({ src }) => src), document.querySelector('link[rel=apple-touch-icon]').href];
    const sizes = await Promise.all(icons.map(async (src) => {
      const image = new Image();
      image.src = src;
      await image.decode();
      return image.naturalWidth;
    }));
    return { display: manifest.display, sizes };
  });
  assert.equal(found.display, 'fullscreen');
  assert.deepEqual(found.sizes.slice(1), [512, 180]);
  await page.context().close();
  // No browser gives the lock to a page at a plain address of the network.
  const plain = await visit(browser, show.url, { before: (one) => one.addInitScript(() => {
    Object.defineProperty(window, 'isSecureContext', { value: false });
    Object.defineProperty(Navigator.prototype, 'wakeLock', { value: undefined });
  }) });
  assert.match(await text(plain, '#awake'), /encrypted address or of the same machine.*automatic lock/);
  await plain.context().close();
});
