// Does it fit: a grid of sizes and contents, measured box by box. Nothing overlaps, nothing is cut off, and what a player
// needs never leaves the screen, whatever a map asks for.

import assert from 'node:assert/strict';
import { cpSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { after, before, test } from 'node:test';
import { capitals, cutOff, lost, minutesOfArc, overlaps } from './boxes.mjs';
import { OUT, ROOT, faults, figure, go, launch, perform, visit } from './stand.mjs';

/** Width, height, and how many millimetres a pixel has on the tablets, phones and laptops with that size. */
const SIZES = [
  [1366, 768, 0.215], [1024, 768, 0.192], [1280, 800, 0.169], [768, 1024, 0.192], [810, 1080, 0.192], [820, 1180, 0.192], [834, 1112, 0.192],
  [834, 1194, 0.192], [768, 954, 0.192], [390, 664, 0.166], [375, 667, 0.156], [360, 640, 0.166], [384, 512, 0.384],
];
const NEEDED = ['#panic', '#room-key', '#finger-key', '#next-section-go', '#next-song'];
const ARM = 700; // millimetres from the eye to a tablet on the keyboard's own stand
const SHOWN = ['Frost on the Window', 'Sixteen bars', 'Twenty bars', 'Seven zones', 'play here'];
const PICTURES = path.join(OUT, 'pictures');

const CHORDS = ['Gm7', 'Eb', 'Bb/D', 'F7sus4', 'Cm', 'Ab', 'Dbmaj7', 'C7/E'];
const bars = (count) => Array.from({ length: count }, (_, index) => CHORDS[index % CHORDS.length]).join(' | ');
const zones = (names) => names.map((name, index) => `[[zone]]\nname = "${name}"\nsound = "${['grand', 'warm', 'strings'][index % 3]}"\nkeys = ["${'ABCDEFG'[index]}${1 + (index % 6)}", "C8"]\n`).join('\n');
const NAMES = ['left hand organ', 'congregation strings', 'contrabassoon', 'accompaniment', 'glockenspiel high', 'underneath everything', 'voices'];
const LONG = 'A Carol for the Keeper of the Northernmost Lighthouse, in Seven Verses and a Blessing';

/** A set of 35 entries: what a map may ask for at most, and short songs to fill the evening. */
const SONGS = {
  'Sixteen bars': [bars(16), zones(NAMES.slice(4)), 'Verse', ''],
  'Six zones': [bars(8), zones(NAMES.slice(1)), 'Verse', ''],
  'Twenty bars': [bars(20), zones(['piano', 'bed']), 'Chorus', ''],
  'Seven zones': [bars(4), zones(NAMES), 'Second bridge, tenors', 'she counts it in, and then we all wait for the bells of the harbour'],
  [LONG]: [bars(4), zones(['piano']), 'Congregational chorus', 'she counts it in, and then we all wait for the bells of the harbour'],
};

function writeSet(folder) {
  mkdirSync(path.join(folder, 'songs'));
  cpSync(path.join(ROOT, 'maps/gear.toml'), path.join(folder, 'gear.toml'));
  const files = Object.entries(SONGS).map(([title, [chords, own, section, remark]], index) => {
    const more = ['Bridge', 'Verse again', 'Last chorus', 'Ending'].map((name) => `[[section]]\nname = "${name}"\nchords = "${bars(4)}"\n`).join('\n');
    writeFileSync(path.join(folder, `songs/${index}.toml`), `title = "${title}"\nkey = "Eb"\nplay_in = "C"\ntempo = 88\nmeter = "4/4"\n\n${own}\n[[section]]\nname = "${section}"\nchords = "${chords}"\n${remark && `remark = "${remark}"\n`}\n${more}`);
    return `songs/${index}.toml`;
  });
  const entries = Array.from({ length: 35 }, (_, index) => {
    if (index === 1) return '[[song]]\ntitle = "Welcome and a reading"\nremark = "two minutes; play softly until the applause"\n';
    return `[[song]]\nmap = "${files[index % files.length]}"\n${index >= 12 ? `title = "Song ${index + 1}"\n` : ''}`;
  });
  writeFileSync(path.join(folder, 'midwinter.toml'), `title = "Midwinter concert"\ngear = "gear.toml"\n\n${entries.join('\n')}`);
}

let browser;
let folder;
before(async () => {
  browser = await launch();
  folder = mkdtempSync(path.join(tmpdir(), 'handspan-fit-'));
  writeSet(folder);
});
after(async () => {
  await browser?.close();
  rmSync(folder, { recursive: true, force: true });
  assert.deepEqual(faults, []);
});

const frames = (page) => page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));

/** What is drawn too small: the keyboard, and chords where the line has room for 16 minutes of arc at arm's length. */
async function tooSmall(page, millimetres) {
  const { hand, keys, bars } = await page.evaluate(() => {
    const inside = (bar) => {
      const range = document.createRange();
      range.selectNodeContents(bar);
      return range.getBoundingClientRect().width / (bar.clientWidth - parseFloat(getComputedStyle(bar).paddingLeft));
    };
    const pen = document.createElement('canvas').getContext('2d');
    const high = (bar) => {
      const { fontWeight, fontSize, fontFamily } = getComputedStyle(bar);
      pen.font = `${fontWeight} ${fontSize} ${fontFamily}`;
      return pen.measureText('H').actualBoundingBoxAscent;
    };
    return {
      hand: !document.querySelector('#hand').hidden,
      keys: [...document.querySelectorAll('.board:not([hidden]) .keys')].map(({ clientHeight }) => clientHeight),
      bars: [...document.querySelectorAll('.chords li')].map((bar) => ({ high: high(bar), fills: inside(bar), text: bar.textContent })),
    };
  });
  if (hand) return []; // the horizon has made room for the keys to play
  // On a phone not even a page of nothing else has room for more than sixteen bars twice, that large.
  const tooMany = bars.length > 2 * 16 && page.viewportSize().width < 600;
  return [
    ...keys.filter((high) => high < 40).map((high) => `the keyboard is ${high} px high`),
    ...bars.map(({ high, ...bar }) => ({ minutes: minutesOfArc(high * millimetres, ARM), ...bar }))
      .filter(({ minutes, fills }) => minutes < 16 && fills < 0.85 && !tooMany)
      .map(({ minutes, fills, text }) => `${text} has ${minutes.toFixed(1)} minutes of arc, and fills ${(100 * fills).toFixed(0)} % of its bar`),
  ];
}

/** Everything that is wrong with a page as it stands. */
async function wrong(page, millimetres, needed = NEEDED) {
  const found = await Promise.all([lost(page, needed), overlaps(page), cutOff(page), tooSmall(page, millimetres)]);
  return [...found[0].map((name) => `${name} is lost`), ...found.slice(1).flat()];
}

/** Every size with one content; what is wrong is added to `found`. */
async function everySize(found, page, content, { enter, needed } = {}) {
  for (const [width, height, millimetres] of SIZES) {
    await page.setViewportSize({ width, height });
    await enter?.(page);
    await frames(page);
    for (const fault of await wrong(page, millimetres, needed)) found.push(`${width} × ${height}, ${content.slice(0, 20)}: ${fault}`);
    // Pictures of everything would take longer than all that is measured.
    if (!SHOWN.includes(content)) continue;
    await page.screenshot({ path: path.join(PICTURES, `fit-${width}x${height}-${content.replaceAll(' ', '-')}.png`) });
    figure(await measured(page, width, height, millimetres, content));
  }
}

async function measured(page, width, height, millimetres, content) {
  const minutes = async (selector) => minutesOfArc((await capitals(page, selector)) * millimetres, ARM).toFixed(0);
  const keys = await page.$eval('.board:not([hidden]) .keys', (one) => one.clientHeight);
  return `fit ${width} × ${height}, ${content}: chords ${await minutes('#finger-chords')}′, section ${await minutes('#section')}′, keys ${await minutes('#finger-key')}′ at ${ARM / 1000} m; keyboard ${keys} px`;
}

test('the demo fits at every size', async () => {
  const found = [];
  const show = await perform();
  const page = await visit(browser, show.url);
  for (const title of ['Frost on the Window', 'Lamplighter', 'A reading']) {
    await go(page, title);
    await everySize(found, page, title);
  }
  show.say('play keyboard 90 6C 50');
  await page.waitForSelector('.standing');
  await everySize(found, page, 'talkback');
  await page.context().close();
  await show.end();
  assert.equal(found.join('\n'), '');
});

test('whatever a map asks for fits at every size', async () => {
  const found = [];
  const show = await perform('--set', path.join(folder, 'midwinter.toml'));
  const page = await visit(browser, show.url);
  for (const title of [...Object.keys(SONGS), 'Welcome and a reading', 'Song 30']) {
    await go(page, title);
    await everySize(found, page, title);
  }
  await go(page, 'Sixteen bars');
  await everySize(found, page, 'a refusal', {
    enter: () => page.evaluate(() => ['pointerdown', 'pointerup'].forEach((kind) => document.querySelector('#panic').dispatchEvent(new PointerEvent(kind)))),
  });
  show.say('unplug keyboard');
  await page.waitForSelector('#words[data-state=wrong]');
  await everySize(found, page, 'trouble');
  await page.context().close();
  await show.end();
  assert.equal(found.join('\n'), '');
});

test('what says that the page is cut off or view only fits at every size', async () => {
  const found = [];
  const show = await perform('--set', path.join(folder, 'midwinter.toml'), '--passcode', 'under the ice', '--viewing-passcode', 'behind the lamp');
  const enter = async (passcode) => {
    const page = await visit(browser, show.url, { wait: false });
    await page.fill('#passcode', passcode);
    await page.click('#enter');
    await page.waitForSelector('body[data-link=live]');
    await go(page, 'Seven zones');
    return page;
  };
  const controls = await enter('under the ice');
  const views = await enter('behind the lamp');
  await show.end();
  // With the longest words beside it: what was pressed meanwhile.
  const press = (page) => page.evaluate(() => {
    document.querySelector('#raise-key').click();
    return new Promise((done) => setTimeout(done, 0));
  });
  for (const page of [controls, views]) await page.waitForSelector('body[data-link=old]');
  await everySize(found, controls, 'cut off', { enter: press, needed: [...NEEDED, '#title', '#section'] });
  await everySize(found, views, 'cut off, view only', { needed: ['#title', '#section', '#room-key', '#finger-key', '#view-only'] });
  await controls.context().close();
  await views.context().close();
  assert.equal(found.join('\n'), '');
});

test('the door and the keys to play fit at every size', async () => {
  const found = [];
  const show = await perform('--passcode', 'under the ice');
  const page = await visit(browser, show.url, { wait: false });
  await page.waitForSelector('#door[open]');
  await everySize(found, page, 'the door', { needed: ['#passcode', '#enter'] });
  await page.fill('#passcode', 'under the ice');
  await page.click('#enter');
  await page.waitForSelector('body[data-link=live]');
  await page.click('#play-here');
  await everySize(found, page, 'play here', {
    needed: [...NEEDED, '#piano', '#lower-octave', '#higher-octave', '#hear', '#sustain', '#play-here'],
    enter: async () => {
      await frames(page);
      const widths = await page.$$eval('#piano .white', (all) => all.map((one) => one.getBoundingClientRect().width));
      if (Math.min(...widths) < 40) found.push(`${page.viewportSize().width}: keys to play are ${Math.min(...widths)} px wide`);
    },
  });
  await page.context().close();
  await show.end();
  assert.equal(found.join('\n'), '');
});
