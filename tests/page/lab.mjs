// A tablet in the network of the lab: opens the page that the real program serves in there, plays, moves the set, and sees
// the real keyboard's cable come out and go in again. The other side of this stands in tests/lab/driver/tablet.rs.

import assert from 'node:assert/strict';
import { launch, text, until } from './stand.mjs';

const [url] = process.argv.slice(2);
// Only a failure takes so long; whoever started this ends it where the lab has ended before.
const PATIENCE = 1_200_000;

/** The lab takes its time to boot, and until then the wire takes connections that nobody answers. */
const served = async () => (await fetch(url, { signal: AbortSignal.timeout(2000) }).catch(() => null))?.ok;

const browser = await launch();
try {
  await until('the page of the lab', served, PATIENCE);
  const page = await (await browser.newContext({ viewport: { width: 1280, height: 800 } })).newPage();
  page.setDefaultTimeout(240_000);
  await page.goto(url);
  await page.fill('#passcode', 'thaw at the old weir');
  await page.keyboard.press('Enter');
  await page.waitForSelector('body[data-link=live]');
  await page.click('#play-here');
  /** Holds a key of the page by mouse until it is drawn as held. */
  const strike = async (number) => {
    const key = await page.locator(`#piano [data-note="${number}"]`).boundingBox();
    await page.mouse.move(key.x + key.width / 2, key.y + key.height * 0.9);
    await page.mouse.down();
    await page.waitForSelector(`.drawing .key.down[data-key="${number}"]`, { state: 'attached' });
    await page.mouse.up();
  };
  await strike(60);
  for (const key of [64, 67, 71]) await page.waitForSelector(`.drawing .key.down[data-key="${key}"]`, { state: 'attached' });
  await page.click('#play-here');
  await page.click('#next-section-go');
  await page.waitForFunction(() => /keyboard is not connected/.test(document.body.textContent));
  assert.equal(await page.$$eval('.drawing .key.down', (keys) => keys.length), 0, 'its keys are up');
  await page.click('#play-here');
  await strike(62);
  await page.waitForFunction(() => !/keyboard is not connected/.test(document.body.textContent));
  await strike(64);
  console.log(`ok page/the_lab_from_outside ${await text(page, '#title')}`);
} finally {
  await browser.close();
}
