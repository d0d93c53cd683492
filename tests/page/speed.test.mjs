// From a note at an input to the drawn key, and the weight of the page.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { faults, figure, launch, perform, until, visit } from './stand.mjs';

let browser;
let show;
before(async () => {
  browser = await launch();
  show = await perform();
});
after(async () => {
  await browser?.close();
  await show?.end();
  assert.deepEqual(faults, []);
});

// 60 frames a second.
const FRAME = 1000 / 60;

/** How long a press of the page takes until the page draws what came of it: there and back again. */
const press = async (page, key) => {
  await page.evaluate(() => {
    window.keyDrawn = new Promise((done) => {
      const watching = new MutationObserver(() => {
        watching.disconnect();
        done(performance.timeOrigin + performance.now());
      });
      watching.observe(document.querySelector('#room-key'), { subtree: true, childList: true, characterData: true });
    });
  });
  const began = performance.timeOrigin + performance.now();
  await page.keyboard.press(key);
  return (await page.evaluate(() => window.keyDrawn)) - began;
};

test('from note to drawn key: no later than a press there and back, and a frame', async () => {
  const page = await visit(browser, show.url);
  // When the class of a key changed, in the frame that draws it; on the same clock as here.
  await page.evaluate(() => {
    window.drawnAt = [];
    new MutationObserver((changes) => {
      for (const { target } of changes) {
        if (target.classList.contains('down')) window.drawnAt.push([Number(target.dataset.key), performance.timeOrigin + performance.now()]);
      }
    }).observe(document.querySelector('#keyboards'), { subtree: true, attributes: true, attributeFilter: ['class'] });
  });
  const took = [];
  const pressed = [];
  for (let round = 0; round < 200; round += 1) {
    const key = 36 + ((round * 7) % 48);
    const played = performance.timeOrigin + performance.now();
    show.say(`play keyboard 90 ${key.toString(16)} 50`);
    const [, drawn] = await until('drawn', () => page.evaluate((wanted) => window.drawnAt.find(([one]) => one === wanted), key));
    took.push(drawn - played);
    show.say(`play keyboard 80 ${key.toString(16)} 40`);
    await page.waitForFunction(() => !document.querySelector('.drawing .key.down'));
    await page.evaluate(() => (window.drawnAt = []));
    if (round % 4 === 0) pressed.push(await press(page, round % 8 === 0 ? '+' : '-'));
  }
  const of = (times, part) => times.toSorted((a, b) => a - b)[Math.max(0, Math.ceil(times.length * part) - 1)];
  const at = (part) => of(took, part).toFixed(1);
  figure(`note to drawn key: median ${at(0.5)} ms, 95th percentile ${at(0.95)} ms, slowest ${at(1)} ms (${took.length} notes)`);
  const yardstick = of(pressed, 0.95) + FRAME;
  figure(`press to drawn key of the room: median ${of(pressed, 0.5).toFixed(1)} ms, 95th percentile ${of(pressed, 0.95).toFixed(1)} ms`);
  assert.ok(of(took, 0.95) < yardstick, `95th percentile ${at(0.95)} ms, a press and a frame ${yardstick.toFixed(1)} ms`);
  assert.ok(of(took, 0) > 0, 'the clocks are one');
  await page.context().close();
});

test('the page weighs less than 150 KiB', async () => {
  let bytes = 0;
  const pending = [];
  await visit(browser, show.url, {
    before: (page) => page.on('response', (response) => pending.push(response.body().then((body) => (bytes += body.length), () => {}))),
  }).then(async (page) => {
    await Promise.all(pending);
    await page.context().close();
  });
  figure(`the page weighs ${(bytes / 1024).toFixed(1)} KiB`);
  assert.ok(bytes > 20000 && bytes < 150 * 1024, `${bytes} bytes`);
});
