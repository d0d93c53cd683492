// Rights: passcodes for control, and for view only.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { axe, faults, launch, live, perform, reads, text, until, visit } from './stand.mjs';

let browser;
let show;
before(async () => {
  browser = await launch();
  show = await perform('--passcode', 'under the ice', '--viewing-passcode', 'only looking');
});
after(async () => {
  await browser?.close();
  await show?.end();
  assert.deepEqual(faults, []);
});

const enter = async (page, passcode) => {
  await page.fill('#passcode', passcode);
  await page.click('#enter');
};

test('without a passcode it is asked for; the right one is remembered in the tab', async () => {
  const page = await visit(browser, show.url, { wait: false });
  await page.waitForSelector('#door[open]');
  assert.match(await text(page, '#door-words'), /passcode/);
  await axe(page, 'the door');
  await enter(page, 'under the ice');
  await live(page);
  assert.equal(await page.getAttribute('body', 'data-can'), 'control');
  await page.reload();
  await live(page);
  await page.context().close();
});

test('a wrong one is told, and the next try has to wait', async () => {
  const page = await visit(browser, show.url, { wait: false });
  await page.waitForSelector('#door[open]');
  // Everything that the door ever shows, as it changes: what is short-lived is not missed on a busy machine.
  await page.evaluate(() => {
    window.shown = [];
    const look = () => window.shown.push({
      words: document.querySelector('#door-words').textContent,
      barred: document.querySelector('#enter').disabled,
      at: performance.now(),
    });
    new MutationObserver(look).observe(document.querySelector('#door'), { subtree: true, childList: true, characterData: true, attributes: true, attributeFilter: ['disabled'] });
  });
  const shown = (from, holds) => until('shown at the door', async () => {
    const all = await page.evaluate(() => window.shown);
    const place = all.findIndex((one, number) => number >= from && holds(one));
    return place >= 0 && { place, ...all[place] };
  }, 60000);
  let place = 0;
  for (let attempt = 0; attempt < 2; attempt += 1) {
    await enter(page, 'open sesame');
    const told = await shown(place, ({ words, barred }) => barred && /Try again in \d+ s/.test(words));
    if (attempt === 0) assert.match(told.words, /not the passcode/);
    const free = await shown(told.place, ({ barred }) => !barred);
    const seconds = Number(/Try again in (\d+) s/.exec(told.words)[1]);
    assert.ok(free.at - told.at > seconds * 1000 - 1100, `${seconds} s were told, ${free.at - told.at} ms had to be waited`);
    place = free.place;
  }
  await enter(page, 'under the ice');
  await live(page);
  await page.context().close();
});

test('view only: everything is seen, nothing is controlled', async () => {
  const mover = await visit(browser, show.url, { wait: false });
  await mover.waitForSelector('#door[open]');
  await enter(mover, 'under the ice');
  await live(mover);
  const page = await visit(browser, show.url, { wait: false });
  await page.waitForSelector('#door[open]');
  await enter(page, 'only looking');
  await live(page);
  await reads(page, '#view-only', 'View only: this page cannot control the set.');
  for (const control of ['#next-song', '#previous-song', '#next-section-go', '#previous-section', '#panic', '#raise-key', '#fade', '#play-here']) {
    assert.ok(await page.isHidden(control), control);
  }
  assert.ok(await page.isDisabled('button.zone'));
  await axe(page, 'view only');
  await page.keyboard.press('ArrowDown');
  await page.keyboard.press('p');
  assert.ok(await page.isHidden('#hand'));
  await page.click('#thread');
  assert.ok(await page.isDisabled('#song-list button'));
  await page.keyboard.press('Escape');
  // Past the page, straight into a socket: the program refuses it too.
  const answer = await page.evaluate(async () => {
    const { respond } = await import('/scram.js');
    const key = JSON.parse(sessionStorage.getItem('passcode-key'));
    return new Promise((resolve) => {
      const socket = new WebSocket(`ws://${location.host}/live`);
      socket.onmessage = ({ data }) => {
        const frame = JSON.parse(data);
        if (frame.kind === 'challenge') socket.send(JSON.stringify({ hello: 2, response: respond(key, frame).response }));
        if (frame.kind === 'state') socket.send(JSON.stringify({ do: ['next-song'], ask: 1, at: frame.now, seen: frame.seen }));
        if (frame.kind === 'answer') resolve(frame);
      };
      socket.onclose = () => resolve({ done: false, closed: true });
    });
  });
  assert.equal(answer.done, false);
  assert.match(answer.words, /view only/);
  assert.equal((await show.status()).entry.position, 1);
  await mover.click('#next-song');
  await reads(page, '#title', 'Frost on the Window');
  await page.context().close();
  await mover.context().close();
});
