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

test('from note to drawn key: 95 of 100 within 50 ms', async () => {
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
  for (let round = 0; round < 200; round += 1) {
    const key = 36 + ((round * 7) % 48);
    const played = performance.timeOrigin + performance.now();
    show.say(`play keyboard 90 ${key.toString(16)} 50`);
    const [, drawn] = await until('drawn', () => page.evaluate((wanted) => window.drawnAt.find(([one]) => one === wanted), key));
    took.push(drawn - played);
    show.say(`play keyboard 80 ${key.toString(16)} 40`);
    await page.waitForFunction(() => !document.querySelector('.drawing .key.down'));
    await page.evaluate(() => (window.drawnAt = []));
  }
  took.sort((a, b) => a - b);
  const at = (part) => took[Math.ceil(took.length * part) - 1].toFixed(1);
  figure(`note to drawn key: median ${at(0.5)} ms, 95th percentile ${at(0.95)} ms, slowest ${at(1)} ms (${took.length} notes)`);
  assert.ok(at(0.95) < 50, `95th percentile ${at(0.95)} ms`);
  assert.ok(took[0] > 0, 'the clocks are one');
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
