// Two tablets at one set.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { faults, launch, perform, reads, text, until, visit } from './stand.mjs';

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

test('what one moves, the other shows', async () => {
  const [one, two] = [await visit(browser, show.url), await visit(browser, show.url, { viewport: { width: 800, height: 1280 } })];
  await one.click('#next-song');
  await reads(two, '#title', 'Frost on the Window');
  await two.click('#raise-key');
  await reads(one, '#room-key', 'F♯').catch(() => reads(one, '#room-key', 'G♭'));
  await one.click('button[data-zone=bed]');
  await reads(two, 'button[data-zone=bed] .how', 'off');
  await one.click('button[data-zone=bed]');
  await two.click('#tonights-key');
  await one.click('#previous-song');
  await reads(two, '#title', 'Snow at the Weir Gate');
  await one.context().close();
  await two.context().close();
});

test('two presses at the same moment make one step', async () => {
  const [one, two] = [await visit(browser, show.url), await visit(browser, show.url)];
  for (let round = 0; round < 5; round += 1) {
    const { entry } = await show.status();
    await until('both drawn', async () => (await text(one, '#count')) === `${entry.position} of 13` && (await text(two, '#count')) === `${entry.position} of 13`);
    // What was said in the round before is no news.
    for (const page of [one, two]) await page.evaluate(() => delete document.querySelector('#health').dataset.told);
    // At one wall-clock moment in both pages, so that neither has drawn what the other did.
    const moment = Date.now() + 150;
    const press = (page) => page.evaluate((when) => new Promise((done) => {
      while (Date.now() < when);
      document.querySelector('#next-song').click();
      done();
    }), moment);
    await Promise.all([press(one), press(two)]);
    await until('one is told why nothing came of it', async () => (await one.$('#health[data-told]')) || (await two.$('#health[data-told]')));
    await show.stands('one step', (after) => after.entry.position === entry.position + 1);
  }
  await one.context().close();
  await two.context().close();
});
