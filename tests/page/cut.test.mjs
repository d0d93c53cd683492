// Cut off: what is old is shown as old, no press waits for better times, and the page comes back by itself.

import assert from 'node:assert/strict';
import net from 'node:net';
import { Transform } from 'node:stream';
import { after, before, test } from 'node:test';
import { axe, faults, figure, launch, live, perform, reads, text, until, visit } from './stand.mjs';

/** A cable between page and program that can be pulled out (frozen) or find nobody at its other end (refusing). */
async function cable(port) {
  let state = 'whole';
  const pairs = new Set();
  const server = net.createServer((near) => {
    if (state === 'refusing') return near.destroy();
    const pair = { near, far: null };
    pairs.add(pair);
    // The program knows itself by its own port only, as it has to: here the cable stands in for the network.
    const own = new Transform({ transform: (bytes, _, done) => done(null, Buffer.from(bytes.toString('latin1').replaceAll(`127.0.0.1:${server.address().port}`, `127.0.0.1:${port}`), 'latin1')) });
    near.pipe(own);
    pair.flow = () => own.pipe(pair.far).pipe(near);
    pair.stop = () => {
      own.unpipe();
      pair.far?.unpipe();
      pair.far?.pause();
    };
    const join = () => {
      pair.far = net.connect(port, '127.0.0.1');
      pair.flow();
      pair.far.on('error', () => near.destroy());
      pair.far.on('close', () => near.destroy());
    };
    near.on('error', () => {});
    near.on('close', () => {
      pair.far?.destroy();
      pairs.delete(pair);
    });
    pair.join = join;
    if (state === 'whole') join();
  });
  await new Promise((resolve) => server.listen(0, '127.0.0.1', resolve));
  return {
    url: `http://127.0.0.1:${server.address().port}/`,
    freeze() {
      state = 'frozen';
      for (const pair of pairs) pair.stop();
    },
    refuse() {
      state = 'refusing';
      for (const { near } of [...pairs]) near.destroy();
    },
    mend() {
      state = 'whole';
      for (const pair of [...pairs]) {
        if (pair.far === null) pair.join();
        else pair.flow();
      }
    },
    close: () => {
      for (const { near } of [...pairs]) near.destroy();
      server.close();
    },
  };
}

let browser;
let show;
let wire;
before(async () => {
  browser = await launch();
  show = await perform();
  wire = await cable(show.port);
});
after(async () => {
  await browser?.close();
  wire?.close();
  await show?.end();
  assert.deepEqual(faults, []);
});

/** The wall clock, which the page has too. */
const now = () => performance.timeOrigin + performance.now();

/** Lets the page write down when it turns old or live: a watcher outside looks too seldom to measure it. */
const note = (page) => page.evaluate(() => {
  window.turns = [];
  new MutationObserver(() => {
    const link = document.body.dataset.link;
    if (window.turns.at(-1)?.[0] !== link) window.turns.push([link, performance.timeOrigin + performance.now()]);
  }).observe(document.body, { attributes: true, attributeFilter: ['data-link'] });
});
const turn = async (page, link) => {
  const held = await page.waitForFunction((wanted) => window.turns.at(-1)?.[0] === wanted && window.turns.at(-1)[1], link);
  return held.jsonValue();
};

test('shown as old within a second, back within a second, over and over', async () => {
  const page = await visit(browser, wire.url);
  await note(page);
  const old = [];
  const back = [];
  for (let round = 0; round < 8; round += 1) {
    const cut = now();
    if (round % 2) wire.refuse();
    else wire.freeze();
    old.push((await turn(page, 'old')) - cut);
    await until('words', async () => /cut off for \d+ s: what you see is old/.test(await text(page, '#old')));
    if (round === 0) {
      await axe(page, 'cut off');
      await page.screenshot({ path: 'target/page/pictures/cut-off.png' });
      await until('a second later', async () => /cut off for ([2-9]|\d\d+) s/.test(await text(page, '#old')));
    }
    const mended = now();
    wire.mend();
    back.push((await turn(page, 'live')) - mended);
    assert.ok(await page.isHidden('#old'));
  }
  figure(`cut off: shown as old after ${Math.round(Math.max(...old))} ms at most, back ${Math.round(Math.max(...back))} ms after the network at most (${back.length} rounds)`);
  assert.ok(Math.max(...old) < 1000, `shown as old after ${old}`);
  assert.ok(Math.max(...back) < 1000, `back after ${back}`);
  await page.context().close();
});

test('however long it was away, it is live again within two seconds', async () => {
  // Longer ones, measured by hand: OUTAGES=30,120 tests/page/run tests/page/cut.test.mjs
  const outages = (process.env.OUTAGES ?? '3,12').split(',').map(Number);
  for (const seconds of outages) {
    for (const how of ['refuse', 'freeze']) {
      const page = await visit(browser, wire.url);
      await note(page);
      wire[how]();
      await turn(page, 'old');
      await new Promise((resolve) => setTimeout(resolve, seconds * 1000));
      const mended = now();
      wire.mend();
      const back = (await turn(page, 'live')) - mended;
      figure(`away for ${seconds} s (${how === 'refuse' ? 'refused' : 'silent'}): back ${Math.round(back)} ms after the network`);
      assert.ok(back < 2000, `back ${back} ms after ${seconds} s (${how})`);
      await until('the live region lets go of it', async () => !/Cut off/.test(await text(page, '#say')));
      await page.reload();
      await live(page);
      await page.context().close();
    }
  }
});

test('what is refused while it is cut off can be read as a whole', async () => {
  for (const viewport of [{ width: 1280, height: 800 }, { width: 390, height: 844 }]) {
    const page = await visit(browser, wire.url, { viewport });
    wire.freeze();
    await page.waitForSelector('body[data-link=old]');
    await page.click('#raise-key');
    await until('refused in words', async () => /[Nn]othing was sent/.test(await text(page, '#old')));
    const box = await page.$eval('#old', (old) => {
      const { left, top, right, bottom } = old.getBoundingClientRect();
      return { left, top, right: innerWidth - right, bottom: innerHeight - bottom, cut: old.scrollHeight - old.clientHeight };
    });
    for (const side of ['left', 'top', 'right', 'bottom']) assert.ok(box[side] >= 0, `${side} ${JSON.stringify(box)}`);
    assert.ok(box.cut <= 1, JSON.stringify(box));
    await page.screenshot({ path: `target/page/pictures/refused-${viewport.width}.png` });
    wire.mend();
    await live(page);
    await page.context().close();
  }
});

test('what was moved meanwhile is shown when it is back', async () => {
  const page = await visit(browser, wire.url);
  const other = await visit(browser, show.url);
  wire.freeze();
  await page.waitForSelector('body[data-link=old]');
  await other.click('#next-song');
  await reads(other, '#title', 'Frost on the Window');
  assert.equal(await text(page, '#title'), 'Snow at the Weir Gate');
  wire.mend();
  await reads(page, '#title', 'Frost on the Window');
  await other.click('#previous-song');
  await reads(page, '#title', 'Snow at the Weir Gate');
  await page.context().close();
  await other.context().close();
});

test('a press while it is cut off never acts later', async () => {
  const page = await visit(browser, wire.url);
  const { entry } = await show.status();
  wire.freeze();
  // Before the page can know: this one is on its way, and comes in too old.
  await page.click('#next-song');
  await page.waitForSelector('body[data-link=old]');
  // Now it knows: refused on the spot, in words.
  await page.click('#next-section-go');
  await until('refused in words', async () => /[Nn]othing was sent/.test(await text(page, '#old')));
  await until('two seconds later', async () => /cut off for ([2-9]|\d\d+) s/.test(await text(page, '#old')));
  wire.mend();
  await live(page);
  // Whatever lay in the cable has come in before this one is answered.
  await page.click('#raise-key');
  await show.stands('the press after it', ({ song }) => song.keys.transposed_by_hand === 1);
  const after = await show.status();
  assert.equal(after.entry.position, entry.position);
  assert.equal(after.song.section.step, 1);
  await page.click('#tonights-key');
  await page.context().close();
});

test('keys held on the page are not held for ever', async () => {
  const page = await visit(browser, wire.url);
  const other = await visit(browser, show.url);
  await page.keyboard.press('p');
  await page.waitForSelector('#piano .white');
  await live(page);
  await page.keyboard.down('KeyA');
  await other.waitForSelector('.key.down');
  wire.freeze();
  await other.waitForFunction(() => !document.querySelector('.drawing .key.down'), null, { timeout: 10000 });
  await page.waitForSelector('body[data-link=old]');
  assert.equal(await page.$('#piano .down'), null);
  wire.mend();
  await live(page);
  await page.context().close();
  await other.context().close();
});

test('the program dies and comes back', async () => {
  const page = await visit(browser, show.url);
  const { port } = show;
  await note(page);
  const back = [];
  for (let round = 0; round < 3; round += 1) {
    const killed = now();
    await show.end();
    assert.ok((await turn(page, 'old')) - killed < 1000);
    show = await perform('--listen', `127.0.0.1:${port}`);
    const there = now();
    back.push((await turn(page, 'live')) - there);
  }
  figure(`program killed: back ${Math.round(Math.max(...back))} ms after it was there again at most (${back.length} rounds)`);
  assert.ok(Math.max(...back) < 1000, `back after ${back}`);
  await page.context().close();
});
